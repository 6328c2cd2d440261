-- Works of absurd length, and works that repeat one note.
SELECT work, bars, lowest = highest AS flat
FROM works
WHERE bars > $longest OR lowest = highest
ORDER BY work;
