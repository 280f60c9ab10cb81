//! The search itself: breadth first, so that the first path to a violation is a
//! shortest one.

use std::collections::{BTreeSet, HashSet};
use std::hash::{BuildHasherDefault, Hasher};

use super::action::{self, Action};
use super::ghost::{Finding, Rules};
use super::node::Node;
use super::path::Step;
use super::setup::Setup;
use super::{Ended, Options, Progress};

/// A state that was reached: how, and what it may still be put through. The state
/// itself is made again from the path to it when its turn comes.
#[derive(Clone, Copy)]
struct Reached {
    parent: u32,
    /// Which of the parent's possible actions led here.
    choice: u8,
    /// Disturbances that the path may still have.
    left: u8,
}

/// Fingerprints are as good as random: their own bits are their hash.
#[derive(Default)]
struct OwnBits(u64);

impl Hasher for OwnBits {
    fn finish(&self) -> u64 {
        self.0
    }
    fn write(&mut self, _: &[u8]) {}
    fn write_u128(&mut self, value: u128) {
        self.0 = value as u64;
    }
}

/// A violation and the shortest path to it.
pub(super) struct Hit {
    pub(super) finding: Finding,
    pub(super) steps: Vec<Step>,
}

/// What a search comes to.
pub(super) struct Outcome {
    pub(super) states: usize,
    pub(super) transitions: u64,
    pub(super) depth: u32,
    pub(super) ended: Ended,
    pub(super) hits: Vec<Hit>,
}

pub(super) struct Search<'a> {
    setup: &'a Setup,
    rules: Rules,
    options: &'a Options,
    first: Node,
    reached: Vec<Reached>,
    seen: HashSet<u128, BuildHasherDefault<OwnBits>>,
    /// The last parent that was made again: its children stand side by side.
    parent: (u32, Node),
    choices: Vec<Action>,
    transitions: u64,
    hits: Vec<Hit>,
    /// Findings that were seen, figures left out: one of a kind is enough.
    kinds: BTreeSet<String>,
}

impl<'a> Search<'a> {
    pub(super) fn new(setup: &'a Setup, options: &'a Options) -> Result<Self, Finding> {
        let rules = Rules::of(setup);
        let first = Node::first(setup, &rules)?;
        let left = options.disturbances;
        let mut seen = HashSet::default();
        seen.insert(first.fingerprint(left));
        Ok(Self {
            setup,
            rules,
            options,
            parent: (0, first.clone()),
            first,
            reached: vec![Reached { parent: 0, choice: 0, left }],
            seen,
            choices: Vec::new(),
            transitions: 0,
            hits: Vec::new(),
            kinds: BTreeSet::new(),
        })
    }

    /// Searches to the end. `look` is told how far it is, and says whether to go on.
    pub(super) fn run(mut self, look: &mut dyn FnMut(&Progress) -> bool) -> Outcome {
        let (mut at, mut level_end, mut depth) = (0, 1, 0);
        loop {
            if at == self.reached.len() {
                return self.outcome(depth, Ended::FixedPoint);
            }
            if at == level_end {
                (level_end, depth) = (self.reached.len(), depth + 1);
                if self.options.depth.is_some_and(|most| depth >= most) {
                    return self.outcome(depth, Ended::Depth);
                }
            }
            if at.is_multiple_of(1024) {
                let (states, waiting) = (self.reached.len(), self.reached.len() - at);
                let progress = Progress { states, waiting, transitions: self.transitions, depth };
                if !look(&progress) {
                    return self.outcome(depth, Ended::Interrupted);
                }
            }
            self.expand(at);
            if self.hits.len() >= self.options.findings {
                return self.outcome(depth + 1, Ended::Violation);
            }
            if self.reached.len() > self.options.states {
                return self.outcome(depth, Ended::States);
            }
            at += 1;
        }
    }

    fn outcome(self, depth: u32, ended: Ended) -> Outcome {
        let states = self.reached.len();
        Outcome { states, transitions: self.transitions, depth, ended, hits: self.hits }
    }

    /// All that can follow on a state.
    fn expand(&mut self, at: usize) {
        let node = self.make(at);
        let left = self.reached[at].left;
        let mut choices = std::mem::take(&mut self.choices);
        action::possible(&node, self.setup, left, &mut choices);
        for (choice, action) in choices.iter().enumerate() {
            let moment = node.moment(*action);
            if moment.is_none_or(|at| at > self.setup.horizon_ms) {
                continue;
            }
            let mut next = node.clone();
            self.transitions += 1;
            if let Err(finding) = next.act(*action, self.setup, &self.rules) {
                self.note(at, &node, *action, finding);
                continue;
            }
            let left = left - u8::from(action.what.is_disturbance());
            if self.seen.insert(next.fingerprint(left)) {
                self.reached.push(Reached { parent: at as u32, choice: choice as u8, left });
            }
        }
        self.choices = choices;
    }

    /// Keeps the first finding of a kind, with the path to it.
    fn note(&mut self, at: usize, node: &Node, action: Action, finding: Finding) {
        let words = finding.what.chars().filter(|c| !c.is_ascii_digit());
        let kind: String = finding.promise.chars().chain(words).collect();
        if self.hits.len() < self.options.findings && self.kinds.insert(kind) {
            let mut steps = self.path(at);
            let at_ms = node.moment(action).unwrap_or(0);
            steps.push(Step { at_ms, from_ms: node.world.true_ms, action });
            self.hits.push(Hit { finding, steps });
        }
    }

    /// Makes a state again from the path to it.
    fn make(&mut self, at: usize) -> Node {
        if at == 0 {
            return self.first.clone();
        }
        let Reached { parent, choice, .. } = self.reached[at];
        if self.parent.0 != parent {
            let mut node = self.first.clone();
            for index in self.indices(parent as usize) {
                node = self.child(&node, self.reached[index]);
            }
            self.parent = (parent, node);
        }
        debug_assert!(choice < u8::MAX, "a state has fewer choices than a byte counts");
        self.child(&self.parent.1, self.reached[at])
    }

    fn action(&self, node: &Node, reached: Reached) -> Action {
        let left = self.reached[reached.parent as usize].left;
        let mut choices = Vec::new();
        action::possible(node, self.setup, left, &mut choices);
        choices[usize::from(reached.choice)]
    }

    fn child(&self, node: &Node, reached: Reached) -> Node {
        let action = self.action(node, reached);
        let mut next = node.clone();
        let judged = next.act(action, self.setup, &self.rules);
        assert!(judged.is_ok(), "what was in order the first time is so again");
        next
    }

    /// The states on the path to one, the first left out.
    fn indices(&self, to: usize) -> Vec<usize> {
        let mut path = Vec::new();
        let mut at = to;
        while at != 0 {
            path.push(at);
            at = self.reached[at].parent as usize;
        }
        path.reverse();
        path
    }

    /// The path to a state, step by step.
    fn path(&self, to: usize) -> Vec<Step> {
        let mut node = self.first.clone();
        let mut steps = Vec::new();
        for index in self.indices(to) {
            let action = self.action(&node, self.reached[index]);
            let at_ms = node.moment(action).unwrap_or(0);
            steps.push(Step { at_ms, from_ms: node.world.true_ms, action });
            node = self.child(&node, self.reached[index]);
        }
        steps
    }
}
