//! The program from outside: arguments, streams, files, exit codes.

mod check;
mod exit_codes;
mod golden;
mod papers;
mod replay;
mod run;
mod streams;
mod support;
mod traces;
