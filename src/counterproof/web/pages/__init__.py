"""The pages, a module per chapter of the job; each function takes an ``Ask``."""
