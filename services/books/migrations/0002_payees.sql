-- Whose pay of which ticket: each posting of a ticket's pay names the ticket, so that
-- what each payee has of it is known whatever became of the fish.
ALTER TABLE money ADD COLUMN ticket BIGINT NOT NULL DEFAULT 0; -- number its lot codes bear; 0 for money of no ticket

-- What was posted before: by a ticket, by its void, by a hold or release, and by the
-- fish that was thrown out (the n-th posting is of the n-th that took pay back).
UPDATE money SET ticket = COALESCE(
    (SELECT MIN(l.number) FROM line l WHERE l.ticket = money.entry),
    (SELECT MIN(l.number) FROM spent s JOIN line l ON l.ticket = s.what
      WHERE s.by = money.entry AND s.item = 0 AND s.how IN ('void', 'rewrite')),
    (SELECT MIN(s.number) FROM shift s WHERE s.entry = money.entry),
    (SELECT MIN(v.number) FROM move v
      WHERE v.entry = money.entry AND v.amount <> 0
        AND money.n = (SELECT COUNT(*) FROM move w
                        WHERE w.entry = v.entry AND w.amount <> 0 AND w.n <= v.n)),
    0);
CREATE INDEX money_ticket ON money (ticket);
