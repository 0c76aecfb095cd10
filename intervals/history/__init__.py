"""History: an engine's rows and records made ready to be judged: what restarted which task, runs in its log, what its duty weighs."""
