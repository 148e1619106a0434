//! What a message holds.
