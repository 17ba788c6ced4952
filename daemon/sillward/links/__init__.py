"""Links by which a grower answers: the key that signs them, and what they stand for."""
