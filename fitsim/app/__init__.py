"""The browser app: one back, a tree on it, and every setting answered as the hand moves it."""
