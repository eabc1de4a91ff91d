"""Backs of our own making: a generator of equine trunks whose every truth is known."""
