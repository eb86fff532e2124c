"""Somite."""
