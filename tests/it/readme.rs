//! What the README has to say to whoever may be hurt.

const README: &str = include_str!("../../README.md");

#[test]
fn the_cautions_name_the_hazards_their_sources_and_who_decides() {
    let (_, cautions) = README.split_once("## Cautions").expect("the section");
    let cautions = cautions.split("\n## ").next().expect("its text");
    // Sources of the limits and of where the dust comes from; the values are beside them in the text.
    for source in
        ["29 CFR 1910.1053", "29 CFR 1926.1153", "NIOSH", "ACGIH", "EH40", "2017/2398", "HSE/HSL", "CEIS2"]
    {
        assert!(cautions.contains(source), "dust and fume: {source} is not named");
    }
    for source in
        ["Food Code 4-101.13", "CPG 545.450", "545.400", "84/500/EEC", "2005/31/EC", "ISO 6486-2", "C738"]
    {
        assert!(cautions.contains(source), "food: {source} is not named");
    }
    for word in
        ["silica", "fettling", "sweep", "slippery", "mains", "water", "local codes", "licensed", "leach test"]
    {
        assert!(cautions.to_lowercase().contains(word), "{word}");
    }
}
