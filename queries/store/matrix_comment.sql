-- What the table is, for those who open the reference with a client of their own.
COMMENT ON TABLE matrix IS
    'Every work that counts with its measures side by side, as comparisons read them';
