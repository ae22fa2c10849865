"""Plain functions, numbers in and numbers out: batteries, charging, rules of thumb."""
