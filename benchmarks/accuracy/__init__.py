"""How good the figures are against what is said of them: simulated fields with known truth, and the methods' limits."""
