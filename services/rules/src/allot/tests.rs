#![expect(clippy::unwrap_used, reason = "a test may panic")]

use proptest::prelude::*;

use super::tidy::Join;
use super::*;

/// A problem as it is given: ids are the numbers of `ids` and `room_ids`.
#[derive(Debug, Clone)]
struct Given {
    supplies: Vec<Supply<u32>>,
    rooms: Vec<Room<u32>>,
    values: Vec<Vec<Option<i64>>>,
}

impl Given {
    /// Supplies (divisions, age), rooms (committed, capacity), values by supply.
    fn of(supplies: &[(i64, i64)], rooms: &[(i64, i64)], values: &[&[i64]]) -> Given {
        let supply = |(id, &(divisions, age)): (u32, &(i64, i64))| Supply { id, divisions, age };
        let room = |(id, &(committed, capacity)): (u32, &(i64, i64))| Room {
            id,
            committed,
            capacity,
        };
        Given {
            supplies: (0..).zip(supplies).map(supply).collect(),
            rooms: (0..).zip(rooms).map(room).collect(),
            values: values
                .iter()
                .map(|row| row.iter().map(|value| Some(*value)).collect())
                .collect(),
        }
    }

    fn problem(&self) -> Problem {
        Problem::new(&self.supplies, &self.rooms, |i, j| self.values[i][j]).unwrap()
    }

    /// The same, given in another order.
    fn shuffled(&self, supplies: &[usize], rooms: &[usize]) -> Given {
        let row = |i: usize| rooms.iter().map(|j| self.values[i][*j]).collect();
        Given {
            supplies: supplies.iter().map(|i| self.supplies[*i].clone()).collect(),
            rooms: rooms.iter().map(|j| self.rooms[*j].clone()).collect(),
            values: supplies.iter().map(|i| row(*i)).collect(),
        }
    }

    /// Lines by ids.
    fn by_ids(&self, plan: &Allotted) -> Vec<(u32, u32, i64)> {
        let ids = |line: &Line| {
            (
                self.supplies[line.supply].id,
                self.rooms[line.room].id,
                line.divisions,
            )
        };
        plan.lines.iter().map(ids).collect()
    }

    /// A plan as a table, by places as given.
    fn table(&self, plan: &Allotted) -> Vec<Vec<i64>> {
        let mut table = vec![vec![0; self.rooms.len()]; self.supplies.len()];
        for line in &plan.lines {
            assert_eq!(table[line.supply][line.room], 0, "a pair twice");
            table[line.supply][line.room] = line.divisions;
        }
        table
    }

    /// Worked out anew from the words of what is best.
    fn score(&self, table: &[Vec<i64>]) -> Score {
        let mut score = Score::default();
        for (j, room) in self.rooms.iter().enumerate() {
            let filled: i64 = table.iter().map(|row| row[j]).sum();
            score.committed += filled.min(room.committed);
            score.kept += filled;
            let from = self.rooms.iter().filter(|other| other.id >= room.id);
            let rank = from.count() as i64;
            for (i, supply) in self.supplies.iter().enumerate() {
                let n = table[i][j];
                let from = self.supplies.iter().filter(|other| other.id >= supply.id);
                if n > 0 {
                    score.money += n * self.values[i][j].unwrap();
                }
                score.age += n * supply.age;
                score.ids += n * rank * from.count() as i64;
            }
        }
        score
    }

    /// What stands in the sixth line: most of the first supply in the first room, ...
    fn in_order(&self, table: &[Vec<i64>]) -> Vec<i64> {
        let mut supplies: Vec<usize> = (0..self.supplies.len()).collect();
        supplies.sort_by_key(|i| self.supplies[*i].id);
        let mut rooms: Vec<usize> = (0..self.rooms.len()).collect();
        rooms.sort_by_key(|j| self.rooms[*j].id);
        let pairs = rooms
            .iter()
            .flat_map(|j| supplies.iter().map(move |i| (*i, *j)));
        pairs.map(|(i, j)| table[i][j]).collect()
    }

    /// What must hold for any plan, and for what it says of itself.
    fn check(&self, plan: &Allotted) {
        let table = self.table(plan);
        for (i, supply) in self.supplies.iter().enumerate() {
            let placed: i64 = table[i].iter().sum();
            assert_eq!(placed + plan.left[i], supply.divisions, "{plan:?}");
            assert!(plan.left[i] >= 0, "{plan:?}");
        }
        for (j, room) in self.rooms.iter().enumerate() {
            let filled: i64 = table.iter().map(|row| row[j]).sum();
            assert!(filled <= room.capacity, "{plan:?}");
        }
        for line in &plan.lines {
            assert!(line.divisions > 0, "{plan:?}");
            assert!(self.values[line.supply][line.room].is_some(), "{plan:?}");
        }
        let lines = self.by_ids(plan);
        assert!(lines.is_sorted(), "{plan:?}");
        assert_eq!(plan.score, self.score(&table));
    }

    /// The best of all plans there are.
    fn best_of_all(&self, pins: &[(usize, usize, i64, bool)]) -> Option<Vec<Vec<i64>>> {
        let mut best = None;
        let mut table = vec![vec![0; self.rooms.len()]; self.supplies.len()];
        self.each(&mut table, 0, 0, &mut |table| {
            let pinned = pins.iter().all(|&(i, j, n, exactly)| {
                let there = table[i][j];
                there == n || (there > n && !exactly)
            });
            let this = (self.score(table), self.in_order(table));
            if pinned && best.as_ref().is_none_or(|(best, _)| *best < this) {
                best = Some((this, table.to_vec()));
            }
        });
        best.map(|(_, table)| table)
    }

    /// All plans, cell by cell.
    fn each(
        &self,
        table: &mut Vec<Vec<i64>>,
        i: usize,
        j: usize,
        seen: &mut impl FnMut(&[Vec<i64>]),
    ) {
        if i == self.supplies.len() {
            return seen(table);
        }
        if j == self.rooms.len() {
            return self.each(table, i + 1, 0, seen);
        }
        let filled: i64 = table.iter().map(|row| row[j]).sum();
        let left = self.supplies[i].divisions - table[i].iter().sum::<i64>();
        let most = match self.values[i][j] {
            Some(_) => left.min(self.rooms[j].capacity - filled),
            None => 0,
        };
        for n in 0..=most {
            table[i][j] = n;
            self.each(table, i, j + 1, seen);
        }
        table[i][j] = 0;
    }
}

/// Small ones, with few different values, so that many plans are equal.
fn small() -> impl Strategy<Value = Given> {
    (1_usize..4, 0_usize..4, 1_i64..4).prop_flat_map(|(supplies, rooms, spread)| {
        let most = if supplies * rooms > 6 { 2 } else { 3 };
        given(supplies, rooms, most, spread)
    })
}

/// Too large to go through all plans.
fn larger() -> impl Strategy<Value = Given> {
    (1_usize..25, 1_usize..9, 1_i64..40)
        .prop_flat_map(|(supplies, rooms, spread)| given(supplies, rooms, 30, spread))
}

/// One fish each, one room each, nothing to choose by but ids, and not every pair allowed.
fn tied() -> impl Strategy<Value = Given> {
    (3_usize..5, 3_usize..5).prop_flat_map(|(supplies, rooms)| {
        let row = prop::collection::vec(prop::option::of(Just(0)), rooms);
        let values = prop::collection::vec(row, supplies);
        values.prop_map(move |values| Given {
            values,
            ..Given::of(&vec![(1, 0); supplies], &vec![(0, 1); rooms], &[])
        })
    })
}

fn given(supplies: usize, rooms: usize, most: i64, spread: i64) -> impl Strategy<Value = Given> {
    let order = |n: usize| Just((0..n as u32).collect::<Vec<u32>>()).prop_shuffle();
    let value = prop_oneof![1 => Just(None), 4 => (-spread..spread).prop_map(Some)];
    let row = prop::collection::vec(value, rooms);
    let room = (0..most + 2).prop_flat_map(|capacity| (0..=capacity, Just(capacity)));
    (
        order(supplies),
        prop::collection::vec((0..=most, 0..spread), supplies),
        order(rooms),
        prop::collection::vec(room, rooms),
        prop::collection::vec(row, supplies),
    )
        .prop_map(|(ids, supplies, room_ids, rooms, values)| Given {
            supplies: ids
                .into_iter()
                .zip(supplies)
                .map(|(id, (divisions, age))| Supply { id, divisions, age })
                .collect(),
            rooms: room_ids
                .into_iter()
                .zip(rooms)
                .map(|(id, (committed, capacity))| Room {
                    id,
                    committed,
                    capacity,
                })
                .collect(),
            values,
        })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(600))]

    #[test]
    fn no_plan_of_all_there_are_is_better(given in small()) {
        let plan = given.problem().solve();
        given.check(&plan);
        prop_assert_eq!(given.table(&plan), given.best_of_all(&[]).unwrap());
    }

    #[test]
    fn where_only_ids_decide_it_is_the_one_that_has_most_of_the_first_in_the_first(
        given in tied()
    ) {
        let plan = given.problem().solve();
        given.check(&plan);
        prop_assert_eq!(given.table(&plan), given.best_of_all(&[]).unwrap());
    }

    #[test]
    fn what_is_pinned_or_forbidden_is_so_and_the_rest_is_best(
        given in small(),
        asked in prop::collection::vec((0_usize..3, 0_usize..3, 0_i64..4, 0..3), 1..4),
    ) {
        let mut problem = given.problem();
        let mut given = given;
        let mut pins: Vec<(usize, usize, i64, bool)> = Vec::new();
        for (i, j, n, kind) in asked {
            let (i, j) = (i % given.supplies.len(), j % given.rooms.len().max(1));
            if pins.iter().any(|pin| (pin.0, pin.1) == (i, j)) {
                continue;
            }
            let changed = match kind {
                0 => problem.with_at_least(i, j, n),
                1 => problem.with_exactly(i, j, n),
                _ => problem.with_forbidden(i, j),
            };
            let Ok(changed) = changed else {
                // Refused, so there is none like it.
                let mut more = pins.clone();
                more.push((i, j, n, kind == 1));
                let none = given.rooms.is_empty() || given.best_of_all(&more).is_none();
                prop_assert!(none || given.values[i][j].is_none());
                continue;
            };
            problem = changed;
            match kind {
                0 => pins.push((i, j, n, false)),
                1 => pins.push((i, j, n, true)),
                _ => given.values[i][j] = None,
            }
        }
        let plan = problem.solve();
        given.check(&plan);
        prop_assert_eq!(given.table(&plan), given.best_of_all(&pins).unwrap());
    }

    #[test]
    fn the_order_in_which_they_are_given_does_not_matter(
        (given, supplies, rooms) in larger().prop_flat_map(|given| {
            let order = |n: usize| Just((0..n).collect::<Vec<usize>>()).prop_shuffle();
            let (supplies, rooms) = (order(given.supplies.len()), order(given.rooms.len()));
            (Just(given), supplies, rooms)
        }),
        budget in 0_i64..60,
    ) {
        let other = given.shuffled(&supplies, &rooms);
        let (problem, others) = (given.problem(), other.problem());
        let (plan, other_plan) = (problem.solve(), others.solve());
        given.check(&plan);
        prop_assert_eq!(given.by_ids(&plan), other.by_ids(&other_plan));
        let tidied = problem.tidy(&plan, budget).unwrap();
        let other_tidied = others.tidy(&other_plan, budget).unwrap();
        prop_assert_eq!(given.by_ids(&tidied.plan), other.by_ids(&other_tidied.plan));
    }

    #[test]
    fn more_room_never_costs_and_a_pin_never_gains(
        given in larger(),
        room in 0_usize..9,
        supply in 0_usize..25,
        n in 1_i64..9,
    ) {
        let (supply, room) = (supply % given.supplies.len(), room % given.rooms.len());
        let problem = given.problem();
        let best = problem.solve().score;
        let more = problem.with_more_room(room, n).unwrap().solve().score;
        prop_assert!(more >= best);
        prop_assert!((0..=n).contains(&more.less(best).kept));
        if let Ok(pinned) = problem.with_at_least(supply, room, n) {
            prop_assert!(pinned.solve().score <= best);
        }
        let without = problem.with_forbidden(supply, room).unwrap().solve().score;
        prop_assert!(without <= best);
    }

    #[test]
    fn tidying_keeps_what_is_kept_and_spends_at_most_the_budget(
        given in larger(),
        budget in 0_i64..200,
    ) {
        let problem = given.problem();
        let plan = problem.solve();
        let tidied = problem.tidy(&plan, budget).unwrap();
        given.check(&tidied.plan);
        let (before, after) = (plan.score, tidied.plan.score);
        prop_assert_eq!(before.committed, after.committed);
        prop_assert_eq!(before.kept, after.kept);
        prop_assert_eq!(before.age, after.age);
        prop_assert_eq!(&plan.left, &tidied.plan.left);
        let cost: i64 = tidied.joins.iter().map(|join| join.cost).sum();
        prop_assert_eq!(before.money - after.money, cost);
        prop_assert!((0..=budget).contains(&cost));
        prop_assert!(tidied.plan.lines.len() + tidied.joins.len() <= plan.lines.len());
        // Nothing is left that it would have joined.
        let again = problem.tidy(&tidied.plan, budget - cost).unwrap();
        prop_assert_eq!(again.joins, vec![]);
    }

    #[test]
    fn tidying_leaves_what_is_pinned(
        given in larger(),
        asked in prop::collection::vec((0_usize..25, 0_usize..9, 0_i64..9, any::<bool>()), 1..6),
    ) {
        let mut problem = given.problem();
        let mut pins: Vec<(usize, usize, i64, bool)> = Vec::new();
        for (i, j, n, exactly) in asked {
            let (i, j) = (i % given.supplies.len(), j % given.rooms.len());
            let changed = if exactly {
                problem.with_exactly(i, j, n)
            } else {
                problem.with_at_least(i, j, n)
            };
            if let Ok(changed) = changed && pins.iter().all(|pin| (pin.0, pin.1) != (i, j)) {
                problem = changed;
                pins.push((i, j, n, exactly));
            }
        }
        let plan = problem.tidy(&problem.solve(), 1000).unwrap().plan;
        given.check(&plan);
        let table = given.table(&plan);
        for (i, j, n, exactly) in pins {
            prop_assert!(table[i][j] >= n && (!exactly || table[i][j] == n));
        }
    }
}

/// The lines of a plan, as `supply>room:divisions`.
fn said(plan: &Allotted) -> String {
    let lines = plan.lines.iter();
    let said = lines.map(|line| format!("{}>{}:{}", line.supply, line.room, line.divisions));
    said.collect::<Vec<_>>().join(" ")
}

#[test]
fn published_transportation_problems_have_their_published_optimum() {
    // NAG Library, example of h03abc, read in its published source and results: total cost
    // 77, and 4 from 3 to 2, 2 from 3 to 3, 1 from 2 to 3, 1 from 1 to 3, 4 from 2 to 1.
    let nag = Given::of(
        &[(1, 0), (5, 0), (6, 0)],
        &[(0, 4), (0, 4), (0, 4)],
        &[&[-8, -8, -11], &[-5, -8, -14], &[-4, -3, -10]],
    );
    let plan = nag.problem().solve();
    assert_eq!((plan.score.kept, plan.score.money), (12, -77));
    assert_eq!(said(&plan), "0>2:1 1>0:4 1>2:1 2>1:4 2>2:2");

    // Bronson, Operations Research (1981), problem 9.1, read with its optimum of 7790 where
    // a reference manual retells it; costs in tenths, and where it has none, no pair.
    let mut bronson = Given::of(
        &[200, 300, 350, 200, 100, 50, 100, 150].map(|n| (n, 0)),
        &[250, 100, 400, 500, 200].map(|n| (n, n)),
        &[],
    );
    bronson.values = vec![vec![None; 5]; 8];
    for (i, row) in bronson.values.iter_mut().enumerate() {
        row[4] = (i != 3).then_some(0);
    }
    let costs = [
        (0, 1, 70),
        (0, 2, 77),
        (0, 3, 84),
        (1, 2, 70),
        (1, 3, 77),
        (2, 3, 70),
        (3, 0, 0),
        (3, 1, 7),
        (3, 2, 14),
        (3, 3, 21),
        (4, 0, 80),
        (5, 1, 90),
        (6, 2, 80),
        (7, 3, 100),
    ];
    for (i, j, cost) in costs {
        bronson.values[i][j] = Some(-cost);
    }
    let plan = bronson.problem().solve();
    bronson.check(&plan);
    assert_eq!((plan.score.committed, plan.score.money), (1450, -77_900));

    // Dantzig's canneries (Linear Programming and Extensions, 1963, 3-3): dollars a case
    // over a thousand miles 90; the data read where it is retold, the optimum of $153.675
    // (thousand), here in tenths of a thousand miles times cases, from memory.
    let dantzig = Given::of(
        &[(350, 0), (600, 0)],
        &[(325, 325), (300, 300), (275, 275)],
        &[&[-25, -17, -18], &[-25, -18, -14]],
    );
    let plan = dantzig.problem().solve();
    let cost_in_thousandths = -plan.score.money * 90 / 10;
    assert_eq!((plan.score.committed, cost_in_thousandths), (900, 153_675));
}

#[test]
fn a_promise_comes_before_pounds_pounds_before_money_money_before_age() {
    let solved =
        |supplies, rooms, values| said(&Given::of(supplies, rooms, values).problem().solve());
    // The order pays less than the fish market, and is promised 4.
    assert_eq!(
        solved(&[(10, 0)], &[(0, 10), (4, 6)], &[&[900, 100]]),
        "0>0:6 0>1:4"
    );
    // Composting costs 50 a division, and keeps it from being left.
    assert_eq!(
        solved(&[(10, 0)], &[(0, 4), (0, 9)], &[&[300, -50]]),
        "0>0:4 0>1:6"
    );
    // Only the first may go to the second room: so it makes place for the other.
    let none = i64::MIN;
    let mut given = Given::of(
        &[(5, 0), (5, 0)],
        &[(0, 5), (0, 5)],
        &[&[900, 1], &[800, none]],
    );
    given.values[1][1] = None;
    assert_eq!(said(&given.problem().solve()), "0>1:5 1>0:5");
    // The dearer one first, of equals the older, of those the smaller id.
    assert_eq!(solved(&[(5, 9), (5, 2)], &[(0, 5)], &[&[7], &[8]]), "1>0:5");
    assert_eq!(solved(&[(5, 2), (5, 9)], &[(0, 5)], &[&[7], &[7]]), "1>0:5");
    assert_eq!(solved(&[(5, 2), (5, 2)], &[(0, 5)], &[&[7], &[7]]), "0>0:5");
}

#[test]
fn what_cannot_be_is_refused_and_says_which() {
    let refused = |supplies: &[(u32, i64, i64)], rooms: &[(u32, i64, i64)], value: i64| {
        let supplies: Vec<Supply<u32>> = supplies
            .iter()
            .map(|&(id, divisions, age)| Supply { id, divisions, age })
            .collect();
        let rooms: Vec<Room<u32>> = rooms
            .iter()
            .map(|&(id, committed, capacity)| Room {
                id,
                committed,
                capacity,
            })
            .collect();
        let said = Problem::new(&supplies, &rooms, |_, _| Some(value)).err();
        said.map_or("none".to_owned(), |error| error.to_string())
    };
    let most = DIVISIONS_MOST;
    let (one, room) = ((1, 5, 0), (1, 0, 5));
    let check = |supplies: &[(u32, i64, i64)], rooms: &[(u32, i64, i64)], value, says| {
        assert_eq!(refused(supplies, rooms, value), says);
    };
    check(&[(1, 0, 0)], &[(1, 0, 0)], 0, "none");
    check(&[one, (2, -1, 0)], &[room], 0, "supply 1 has -1 divisions");
    check(&[one, (2, most - 5, 0)], &[room], 0, "none");
    check(
        &[one, (2, most - 4, 0)],
        &[room],
        0,
        "up to supply 1 there are more than 400000000 divisions",
    );
    check(
        &[one, (2, i64::MAX, 0)],
        &[room],
        0,
        "up to supply 1 there are more than 400000000 divisions",
    );
    check(&[(1, 5, AGE_MOST)], &[room], 0, "none");
    check(
        &[(1, 5, -AGE_MOST - 1)],
        &[room],
        0,
        "supply 0 has age -10000001, and 10000000 is the most",
    );
    check(
        &[(1, 5, i64::MIN)],
        &[room],
        0,
        "supply 0 has age -9223372036854775808, and 10000000 is the most",
    );
    check(&[one], &[room, (2, 0, -1)], 0, "room 1 has capacity -1");
    check(&[one], &[room, (2, -1, 4)], 0, "room 1 has -1 committed");
    check(
        &[one],
        &[room, (2, 5, 4)],
        0,
        "room 1 has 5 committed of capacity 4",
    );
    check(&[one], &[room, (2, i64::MAX, i64::MAX)], 0, "none");
    check(&[one], &[room], -VALUE_MOST, "none");
    check(
        &[one],
        &[room],
        VALUE_MOST + 1,
        "supply 0 in room 0 has value 10000000001, and 10000000000 is the most",
    );
    check(
        &[one],
        &[room],
        i64::MIN,
        "supply 0 in room 0 has value -9223372036854775808, and 10000000000 is the most",
    );
    check(
        &[one, (3, 1, 1), one],
        &[room],
        0,
        "supplies 0 and 2 have one id",
    );
    check(
        &[one],
        &[(9, 0, 1), (3, 0, 1), (9, 0, 2)],
        0,
        "rooms 0 and 2 have one id",
    );
    let many: Vec<(u32, i64, i64)> = (0..=ROOMS_MOST as u32).map(|id| (id, 0, 1)).collect();
    check(&[one], &many[1..], 0, "none");
    check(&[one], &many, 0, "501 rooms, and 500 is the most");
    let many: Vec<(u32, i64, i64)> = (0..=SUPPLIES_MOST as u32).map(|id| (id, 0, 1)).collect();
    check(&many, &[], 0, "100001 supplies, and 100000 is the most");
}

#[test]
fn what_cannot_be_asked_is_refused_and_says_which() {
    let mut given = Given::of(&[(5, 0), (5, 0)], &[(0, 7), (0, 4)], &[&[1, 1], &[1, 1]]);
    given.values[1][0] = None;
    let problem = given.problem();
    let says = |asked: Result<Problem, Unallottable>| asked.unwrap_err().to_string();
    assert_eq!(says(problem.with_forbidden(2, 0)), "there is no supply 2");
    assert_eq!(says(problem.with_forbidden(0, 2)), "there is no room 2");
    assert_eq!(
        says(problem.with_at_least(0, 0, -1)),
        "-1 divisions of supply 0 pinned to room 0"
    );
    assert_eq!(
        says(problem.with_at_least(1, 0, 1)),
        "supply 1 is pinned to room 0, where it may not go"
    );
    let pinned = problem.with_at_least(0, 0, 3).unwrap();
    assert_eq!(
        says(pinned.with_at_least(0, 1, 3)),
        "6 divisions of supply 0 are pinned, and it has 5"
    );
    assert_eq!(
        says(problem.with_exactly(1, 1, 5)),
        "5 divisions are pinned to room 1, which takes 4"
    );
    assert_eq!(
        says(problem.with_more_room(0, -1)),
        "-1 more divisions of room 0"
    );
}

#[test]
fn the_largest_numbers_there_may_be_come_out_exact() {
    let half = DIVISIONS_MOST / 2;
    let given = Given::of(
        &[(half, AGE_MOST), (half, -AGE_MOST)],
        &[(0, half - 1), (half, i64::MAX), (0, 1)],
        &[
            &[VALUE_MOST, -VALUE_MOST, VALUE_MOST],
            &[VALUE_MOST, -VALUE_MOST, VALUE_MOST - 1],
        ],
    );
    let plan = given.problem().solve();
    given.check(&plan);
    // The promise takes half; which half, and the last division, money decides.
    assert_eq!(said(&plan), "0>0:199999999 0>2:1 1>1:200000000");
    assert_eq!(plan.score.money, 0);
}

#[test]
fn what_a_pin_costs_and_more_room_brings_is_the_difference_of_two_plans() {
    // Soup takes 6 at 300, the market 10 at 500; the freezer all, at 40.
    let given = Given::of(
        &[(12, 3), (8, 1)],
        &[(0, 6), (0, 10), (0, 100)],
        &[&[300, 500, 40], &[300, 450, 40]],
    );
    let problem = given.problem();
    let best = problem.solve();
    assert_eq!(best.score.money, 10 * 500 + 6 * 300 + 4 * 40);
    let pinned = problem.with_at_least(1, 1, 3).unwrap().solve();
    assert_eq!(best.score.less(pinned.score).money, 3 * (500 - 450));
    let exactly = problem.with_exactly(0, 1, 4).unwrap().solve();
    assert_eq!(best.score.less(exactly.score).money, 6 * (500 - 450));
    let more = problem.with_more_room(0, 1).unwrap().solve();
    assert_eq!(more.score.less(best.score).money, 300 - 40);
    // A pin counts as filled of what is committed, and what is pinned stays pinned.
    let promised = Given::of(&[(5, 0), (5, 0)], &[(4, 4), (0, 9)], &[&[1, 9], &[2, 9]]);
    let pinned = promised.problem().with_exactly(0, 0, 3).unwrap();
    let plan = pinned.solve();
    assert_eq!(said(&plan), "0>0:3 0>1:2 1>0:1 1>1:4");
    assert_eq!(plan.score.committed, 4);
    assert_eq!(pinned.with_forbidden(0, 0).unwrap().solve(), plan);
    // Asked again it is the new pin that counts.
    let plan = problem.with_at_least(1, 1, 5).unwrap();
    let plan = plan.with_at_least(1, 1, 0).unwrap().solve();
    assert_eq!(plan, best);
}

#[test]
fn a_split_is_joined_where_the_budget_bears_it() {
    // Of the first lot 6 go to the market, the rest to soup, at a cent less each.
    let given = Given::of(&[(8, 0)], &[(0, 6), (0, 9)], &[&[101, 100]]);
    let problem = given.problem();
    let plan = problem.solve();
    assert_eq!(said(&plan), "0>0:6 0>1:2");
    assert_eq!(problem.tidy(&plan, 5).unwrap().joins, vec![]);
    let tidied = problem.tidy(&plan, 6).unwrap();
    assert_eq!(said(&tidied.plan), "0>1:8");
    let join = Join {
        supply: 0,
        from: 0,
        to: 1,
        divisions: 6,
        exchanged: None,
        cost: 6,
    };
    assert_eq!(tidied.joins, vec![join]);
    assert_eq!(plan.score.less(tidied.plan.score).money, 6);
    // Not where it is promised to the market, or pinned there.
    let promised = Given::of(&[(8, 0)], &[(1, 6), (0, 9)], &[&[101, 100]]).problem();
    assert_eq!(promised.tidy(&promised.solve(), 99).unwrap().joins, vec![]);
    let pinned = problem.with_at_least(0, 0, 1).unwrap();
    assert_eq!(pinned.tidy(&pinned.solve(), 99).unwrap().joins, vec![]);
}

#[test]
fn two_lots_change_places_where_there_is_no_room_to_move() {
    // Both rooms are full, and the second lot is as much as the first has in the other.
    let given = Given::of(
        &[(6, 0), (2, 0)],
        &[(0, 6), (0, 2)],
        &[&[10, 10], &[12, 11]],
    );
    let problem = given.problem();
    let plan = problem.solve();
    assert_eq!(said(&plan), "0>0:4 0>1:2 1>0:2");
    assert_eq!(problem.tidy(&plan, 1).unwrap().joins, vec![]);
    let tidied = problem.tidy(&plan, 2).unwrap();
    assert_eq!(said(&tidied.plan), "0>0:6 1>1:2");
    let join = Join {
        supply: 0,
        from: 1,
        to: 0,
        divisions: 2,
        exchanged: Some(1),
        cost: 2,
    };
    assert_eq!(tidied.joins, vec![join]);
    // A larger one cannot, as that would split it in turn.
    let larger = Given::of(
        &[(5, 0), (3, 0)],
        &[(0, 6), (0, 2)],
        &[&[10, 10], &[12, 11]],
    );
    let problem = larger.problem();
    let plan = problem.solve();
    assert_eq!(said(&plan), "0>0:3 0>1:2 1>0:3");
    assert_eq!(problem.tidy(&plan, 99).unwrap().joins, vec![]);
}
