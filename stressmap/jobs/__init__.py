"""The commands' jobs, one a module: the only files that know an order of stages."""
