-- How the reference was made, and that it has the tables of this version.
SELECT build, tool, definitions, schema, reference_id, works, settings, libraries
FROM builds
