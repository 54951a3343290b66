//! Graylight
pub mod card;
pub mod clock;
pub mod commands;
pub mod measure;
pub mod practice;
pub mod property;
pub mod sun;
pub mod tags;
pub mod visits;
