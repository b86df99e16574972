"""Records, kernel, timeline: turns a scenario into recorded numbers; computes no metric."""
