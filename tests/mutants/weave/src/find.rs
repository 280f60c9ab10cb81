//! Finds each mutant's place in the syntax of a file and makes its wrap.

use std::collections::BTreeMap;
use std::ops::Range;

use syn::spanned::Spanned;
use syn::visit::{self, Visit};
use syn::{Arm, BinOp, Expr, ExprBinary, ExprStruct, ExprUnary};

use crate::cloth::{Piece, Wrap};
use crate::list::Genre;

/// A mutant that is to be woven: its number, what it does, and its replacement.
pub struct Wanted {
    pub id: usize,
    pub genre: Genre,
    pub replacement: String,
}

/// The mutants of a file by the byte at which they start.
pub type ByPlace = BTreeMap<usize, Vec<Wanted>>;

pub struct Finder<'a> {
    pub source: &'a str,
    pub wanted: &'a ByPlace,
    pub wraps: Vec<Wrap>,
}

fn bytes(node: &impl Spanned) -> Range<usize> {
    node.span().byte_range()
}

fn plain(text: impl Into<String>) -> Piece {
    (None, text.into())
}

/// The switch of a mutant, as an expression.
fn on(id: usize) -> String {
    format!("crate::mutant_switch::on({id})")
}

/// `if on(1) { FIRST } else if on(2) { SECOND } else { AS_IT_IS }`
fn choice(mutants: &[&Wanted], own: impl Fn(&Wanted) -> String, as_it_is: String) -> Vec<Piece> {
    let mut pieces = Vec::new();
    for wanted in mutants {
        pieces.push(plain(format!("if {} {{ ", on(wanted.id))));
        pieces.push((Some(wanted.id), own(wanted)));
        pieces.push(plain(" } else "));
    }
    pieces.push(plain(format!("{{ {as_it_is} }}")));
    pieces
}

/// Whether a condition has a `let` of its own, so that it is no expression of type `bool`.
fn has_let(expr: &Expr) -> bool {
    match expr {
        Expr::Let(_) => true,
        Expr::Binary(both) => has_let(&both.left) || has_let(&both.right),
        _ => false,
    }
}

impl Finder<'_> {
    fn at(&self, byte: usize, genre: Genre) -> Vec<&Wanted> {
        let here = self.wanted.get(&byte).into_iter().flatten();
        here.filter(|wanted| wanted.genre == genre).collect()
    }

    /// A function's value: returned before the body begins.
    pub fn values(&mut self) {
        for (&start, here) in self.wanted {
            for wanted in here.iter().filter(|w| w.genre == Genre::FnValue) {
                let before = vec![
                    plain(format!("if {} {{ return ", on(wanted.id))),
                    (Some(wanted.id), wanted.replacement.clone()),
                    plain("; }\n"),
                ];
                self.wraps.push(Wrap {
                    around: start..start,
                    rank: 0,
                    before,
                    instead: Vec::new(),
                    after: Vec::new(),
                    mutants: vec![wanted.id],
                });
            }
        }
    }

    fn binary(&self, node: &ExprBinary) -> Option<Wrap> {
        let operator = bytes(&node.op);
        let mutants = self.at(operator.start, Genre::BinaryOperator);
        if mutants.is_empty() || has_let(&node.left) || has_let(&node.right) {
            return None;
        }
        let op = &self.source[operator.clone()];
        let left = bytes(&node.left);
        let around = left.start..bytes(&node.right).end;
        let ids = mutants.iter().map(|wanted| wanted.id).collect();
        let wrap = |before: &str, instead: (Range<usize>, &str), after: Vec<Piece>| Wrap {
            around: around.clone(),
            rank: 3,
            before: vec![plain(before)],
            instead: vec![(instead.0, vec![plain(instead.1)])],
            after,
            mutants: ids,
        };
        Some(match node.op {
            BinOp::And(_) | BinOp::Or(_) => {
                let switch = format!("); let __s = {}; if __l != __s {{ ", on(mutants[0].id));
                let (middle, end) = match node.op {
                    BinOp::And(_) => (format!("{switch}("), ") } else { __s } })"),
                    _ => (format!("{switch}!__s }} else {{ ("), ") } })"),
                };
                wrap("({ let __l = (", (operator, &middle), vec![plain(end)])
            }
            BinOp::Lt(_)
            | BinOp::Le(_)
            | BinOp::Gt(_)
            | BinOp::Ge(_)
            | BinOp::Eq(_)
            | BinOp::Ne(_) => {
                let mut after = vec![plain(")) { (__l, __r) => ")];
                let own = |w: &Wanted| format!("*__l {} *__r", w.replacement);
                after.extend(choice(&mutants, own, format!("*__l {op} *__r")));
                after.push(plain(" })"));
                wrap("(match (&(", (operator, "), &("), after)
            }
            BinOp::Add(_)
            | BinOp::Sub(_)
            | BinOp::Mul(_)
            | BinOp::Div(_)
            | BinOp::Rem(_)
            | BinOp::BitXor(_)
            | BinOp::BitAnd(_)
            | BinOp::BitOr(_)
            | BinOp::Shl(_)
            | BinOp::Shr(_) => {
                let mut after = vec![plain(")) { (__l, __r) => ")];
                let own = |w: &Wanted| format!("__l {} __r", w.replacement);
                after.extend(choice(&mutants, own, format!("__l {op} __r")));
                after.push(plain(" })"));
                wrap("(match ((", (operator, "), ("), after)
            }
            _ => {
                // the place on the left is named again, after the value on the right is known
                let place = &self.source[left.clone()];
                let mut after = vec![plain("); ")];
                let own = |w: &Wanted| format!("{place} {} __r", w.replacement);
                after.extend(choice(&mutants, own, format!("{place} {op} __r")));
                after.push(plain(" }"));
                wrap("{ let __r = (", (left.start..operator.end, ""), after)
            }
        })
    }

    fn unary(&self, node: &ExprUnary) -> Option<Wrap> {
        let operator = bytes(&node.op);
        let mutants = self.at(operator.start, Genre::UnaryOperator);
        let first = mutants.first()?;
        let op = &self.source[operator.clone()];
        let mut after = vec![plain(") { __v => ")];
        after.extend(choice(&mutants, |_| "__v".into(), format!("{op}__v")));
        after.push(plain(" })"));
        Some(Wrap {
            around: operator.start..bytes(&node.expr).end,
            rank: 3,
            before: Vec::new(),
            instead: vec![(operator, vec![plain("(match (")])],
            after,
            mutants: vec![first.id],
        })
    }

    fn arm(&mut self, node: &Arm) {
        let deleted = self.at(bytes(node).start, Genre::MatchArm).first().map(|w| w.id);
        let Some((_, guard)) = &node.guard else {
            if let Some(id) = deleted {
                let end = bytes(&node.pat).end;
                self.wraps.push(Wrap {
                    around: end..end,
                    rank: 1,
                    before: vec![(Some(id), format!(" if !{}", on(id)))],
                    instead: Vec::new(),
                    after: Vec::new(),
                    mutants: vec![id],
                });
            }
            return;
        };
        if has_let(guard) {
            return;
        }
        let around = bytes(guard);
        let replaced = self.at(around.start, Genre::MatchArmGuard);
        let ids: Vec<usize> = replaced.iter().map(|w| w.id).collect();
        let (mut is, mut is_not) = (String::new(), String::new());
        for wanted in replaced {
            match wanted.replacement.as_str() {
                "true" => is = format!("{} || ", on(wanted.id)),
                _ => is_not = format!("!{} && ", on(wanted.id)),
            }
        }
        let mut wrap = |rank, before, mutants| {
            self.wraps.push(Wrap {
                around: around.clone(),
                rank,
                before: vec![plain(before)],
                instead: Vec::new(),
                after: vec![plain("))")],
                mutants,
            });
        };
        if let Some(id) = deleted {
            wrap(1, format!("(!{} && (", on(id)), vec![id]);
        }
        if !ids.is_empty() {
            wrap(2, format!("({is}{is_not}("), ids);
        }
    }

    fn fields(&mut self, node: &ExprStruct) {
        let Some(rest) = &node.rest else { return };
        let rest = &self.source[bytes(rest)];
        for field in &node.fields {
            let around = bytes(field);
            let Some(id) = self.at(around.start, Genre::StructField).first().map(|w| w.id) else {
                continue;
            };
            let syn::Member::Named(name) = &field.member else { continue };
            let short =
                if field.colon_token.is_none() { format!("{name}: ") } else { String::new() };
            let value = if short.is_empty() { bytes(&field.expr) } else { around };
            self.wraps.push(Wrap {
                around: value,
                rank: 1,
                before: vec![
                    plain(format!("{short}if {} {{ ", on(id))),
                    (Some(id), format!("({rest}).{name}")),
                    plain(" } else { "),
                ],
                instead: Vec::new(),
                after: vec![plain(" }")],
                mutants: vec![id],
            });
        }
    }
}

impl<'ast> Visit<'ast> for Finder<'_> {
    fn visit_expr_binary(&mut self, node: &'ast ExprBinary) {
        self.wraps.extend(self.binary(node));
        visit::visit_expr_binary(self, node);
    }

    fn visit_expr_unary(&mut self, node: &'ast ExprUnary) {
        self.wraps.extend(self.unary(node));
        visit::visit_expr_unary(self, node);
    }

    fn visit_arm(&mut self, node: &'ast Arm) {
        self.arm(node);
        visit::visit_arm(self, node);
    }

    fn visit_expr_struct(&mut self, node: &'ast ExprStruct) {
        self.fields(node);
        visit::visit_expr_struct(self, node);
    }
}
