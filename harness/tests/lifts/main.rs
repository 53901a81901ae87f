//! The lifts, with parts that are right and parts that are not.

mod checked;
mod data_separator;
mod small_reader;
mod track_encoder;
mod track_writer;
mod word_reader;
