//! The plan of small fish against scipy's HiGHS, over random problems: the problems and
//! the plans go into one file, which a script solves anew, line by line of what is best.

use rules::allot::{Allotted, Problem, Room, Supply};
use serde_json::{Value, json};

use super::python;
use crate::chance::{Chance, begin, seeds};

#[test]
#[ignore = "needs Python; run by tests/all"]
fn no_plan_of_small_fish_is_better_than_ours_by_highs() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("problems.json");
    for seed in seeds(&[20_310_502]) {
        let mut chance = begin(seed);
        let problems: Vec<Value> = (0..1200).map(|_| a_problem(&mut chance)).collect();
        std::fs::write(&file, json!(problems).to_string()).unwrap();
        println!("{}", python("tests/outside/allot.py", None, &[&file]));
    }
}

/// Some supplies and rooms, pins among them, and the plan.
fn a_problem(chance: &mut Chance) -> Value {
    let supplies = chance.between(1, 9);
    let rooms = chance.between(1, 7);
    // Few different values make many ties, large numbers few.
    let (most, spread, ages) = *chance
        .one_of(&[(4, 2, 2), (12, 4, 3), (40, 900, 9), (2000, 20_000, 500)])
        .unwrap();
    let supplies: Vec<Supply<String>> = (0..supplies)
        .map(|_| Supply {
            id: chance.id(),
            divisions: chance.between(0, most + 1),
            age: chance.between(-2, ages),
        })
        .collect();
    let rooms: Vec<Room<String>> = (0..rooms)
        .map(|_| {
            let capacity = if chance.once_in(8) {
                0
            } else {
                chance.between(0, 2 * most)
            };
            let committed = if chance.once_in(2) {
                0
            } else {
                chance.between(0, capacity + 1)
            };
            Room {
                id: chance.id(),
                committed,
                capacity,
            }
        })
        .collect();
    let rarely = chance.between(2, 9);
    let mut values: Vec<Vec<Option<i64>>> = supplies
        .iter()
        .map(|_| {
            let value = |_: &Room<String>| {
                let may = !chance.once_in(rarely);
                may.then(|| chance.between(-spread / 3, spread))
            };
            rooms.iter().map(value).collect()
        })
        .collect();
    let mut problem = Problem::new(&supplies, &rooms, |i, j| values[i][j]).unwrap();
    let mut pins: Vec<Value> = Vec::new();
    for _ in 0..chance.between(0, 4) {
        let i = chance.between(0, supplies.len() as i64) as usize;
        let j = chance.between(0, rooms.len() as i64) as usize;
        let pinned = |pin: &Value| pin["supply"] == json!(i) && pin["room"] == json!(j);
        if pins.iter().any(pinned) {
            continue;
        }
        let n = chance.between(0, supplies[i].divisions + 1);
        let kind = chance.between(0, 3);
        let changed = match kind {
            0 => problem.with_at_least(i, j, n),
            1 => problem.with_exactly(i, j, n),
            _ => problem.with_forbidden(i, j),
        };
        // What cannot be pinned is left out: the fast tests have it.
        if let Ok(changed) = changed {
            problem = changed;
            if kind == 2 {
                values[i][j] = None;
            } else {
                pins.push(json!({ "supply": i, "room": j, "divisions": n, "exactly": kind == 1 }));
            }
        }
    }
    json!({
        "supplies": supplies.iter().map(|supply| json!({
            "id": supply.id, "divisions": supply.divisions, "age": supply.age,
        })).collect::<Vec<_>>(),
        "rooms": rooms.iter().map(|room| json!({
            "id": room.id, "committed": room.committed, "capacity": room.capacity,
        })).collect::<Vec<_>>(),
        "values": values,
        "pins": pins,
        "plan": told(&problem.solve()),
    })
}

fn told(plan: &Allotted) -> Value {
    let score = plan.score;
    json!({
        "lines": plan.lines.iter().map(|line| json!([
            line.supply, line.room, line.divisions
        ])).collect::<Vec<_>>(),
        "left": plan.left,
        "score": [score.committed, score.kept, score.money, score.age, score.ids],
    })
}
