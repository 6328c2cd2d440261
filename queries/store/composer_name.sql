-- The name of a composer.
SELECT any_value(composer_name) AS name FROM works WHERE composer = $1
