"""Steps that change the tables; each says what it must not break."""
