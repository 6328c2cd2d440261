-- The values that a parameter of a query can have, by the name of the parameter.
WITH known AS (
    SELECT 'ensemble' AS parameter, ensemble AS name FROM works
    UNION SELECT 'family', family FROM works
    UNION SELECT 'texture', texture FROM works
    UNION SELECT 'period', coalesce(period, 'none') FROM works
    UNION SELECT 'collection', collection FROM works
    UNION SELECT 'composer', unnest([composer_name, composer, unit]) FROM works
    UNION SELECT 'work', work FROM works
    UNION SELECT 'instrument', instrument FROM parts
    UNION SELECT 'kind', kind FROM events
    UNION SELECT 'measure', name FROM definitions
)
SELECT name FROM known WHERE parameter = $parameter AND name IS NOT NULL ORDER BY name;
