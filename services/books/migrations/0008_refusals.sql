-- Which request was refused last, of those that are added up in a row.
ALTER TABLE refusal ADD COLUMN request TEXT NOT NULL DEFAULT '';
