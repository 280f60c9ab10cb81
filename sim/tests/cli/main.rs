//! The program from outside: arguments, streams, files, exit codes.

mod check;
mod exit_codes;
mod golden;
mod papers;
mod replay;
mod run;
mod shrink;
mod soak;
mod streams;
mod support;
mod traces;
