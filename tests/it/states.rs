//! The states of the engine as DEVELOPERS.md draws them, against what the scenes do.

use crate::scenes::kept;
use std::collections::BTreeSet;
use tarebell::daemon::rehearsal::play;

/// Rows of the table under "The states of a piece": from, to, when.
fn drawn() -> BTreeSet<(String, String)> {
    let text = include_str!("../../DEVELOPERS.md");
    let (_, table) = text.split_once("## The states of a piece").expect("the table of states");
    let rows = table.lines().skip_while(|l| !l.starts_with('|')).take_while(|l| l.starts_with('|')).skip(2);
    let cells = |row: &str| row.split('|').map(|c| c.trim().to_owned()).collect::<Vec<_>>();
    let each = |row: &str| {
        let row = cells(row);
        row[2].split(", ").map(|to| (row[1].clone(), to.to_owned())).collect::<Vec<_>>()
    };
    rows.flat_map(each).collect()
}

#[test]
fn every_move_of_the_engine_in_the_scenes_is_drawn_and_every_one_drawn_is_made() {
    let mut made: BTreeSet<(String, String)> = BTreeSet::new();
    for scene in kept() {
        for played in scene.scales.iter().filter_map(|scale| play(&scene, scale)) {
            made.extend(played.moves.iter().map(|(from, to)| ((*from).to_owned(), (*to).to_owned())));
        }
    }
    let drawn = drawn();
    let undrawn: Vec<_> = made.difference(&drawn).collect();
    let unmade: Vec<_> = drawn.difference(&made).collect();
    assert!(
        undrawn.is_empty() && unmade.is_empty(),
        "made and not drawn: {undrawn:?}; drawn and never made: {unmade:?}"
    );
}
