//! Nothing but its tests: the desk in a real browser, driven from the outside.
