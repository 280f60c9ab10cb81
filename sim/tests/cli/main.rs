//! The program from outside: arguments, streams, files, exit codes.

mod book;
mod calibrate;
mod check;
mod exit_codes;
mod forecast;
mod golden;
mod image;
mod interrupt;
mod operate;
mod papers;
mod pictures;
mod plan;
mod promises;
mod pulses;
mod replay;
mod report;
mod run;
mod schemas;
mod sheet;
mod shrink;
mod soak;
mod streams;
mod support;
mod sweep;
mod traces;
mod warned;
