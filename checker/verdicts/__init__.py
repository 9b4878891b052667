"""From measures to verdicts: every comparison with a tolerance, and nothing else."""
