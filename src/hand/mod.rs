//! Hands in: keys and pedals.
