"""From the samples of a swing to its metrics, and from metrics to judged faults."""
