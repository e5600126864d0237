"""The record of practice, and what to practise next."""
