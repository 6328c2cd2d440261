-- How much a reference holds; counted are the works that count, without copies.
SELECT
    (SELECT count(*) FROM works) AS works,
    (SELECT count(*) FROM matrix) AS counted,
    (SELECT count(*) FROM failures) AS failures,
    (SELECT count(*) FROM stays) AS stays,
    (SELECT count(*) FROM shifts) AS shifts;
