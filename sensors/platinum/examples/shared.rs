//! The driver as a shared library: exports the one symbol that hosts look for, and nothing else.

nightbench_driver::export_driver!(nightbench_platinum::TABLE);
