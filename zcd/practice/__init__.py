"""Exercises: a hidden fault, a bench to measure it on, and what an expert would have done."""
