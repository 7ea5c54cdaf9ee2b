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

/// A command of the text with its backslashes, and the grams that the words behind it give.
fn commands() -> Vec<(String, f64)> {
    let blocks = README.split("```sh\n").skip(1).filter_map(|block| block.split_once("```"));
    let given = |(command, after): (&str, &str)| {
        let words = after.trim_start().strip_prefix("gives ")?;
        let grams = words.split_whitespace().next()?.parse().ok()?;
        Some((command.replace("\\\n", " "), grams))
    };
    blocks.filter(|(command, _)| command.starts_with("tarebell target")).filter_map(given).collect()
}

#[test]
fn the_grams_it_gives_for_a_command_are_what_the_command_prints() {
    use clap::Parser as _;
    let commands = commands();
    assert!(commands.len() >= 3, "{commands:?}");
    for (command, grams) in commands {
        let typed = tarebell::cli::Cli::try_parse_from(command.split_whitespace()).expect(&command).command;
        let tarebell::cli::Command::Target(args) = typed else { panic!("{typed:?}") };
        let found = tarebell::batch::target(&args.request().expect(&command)).expect(&command);
        assert!((found.target.g() - grams).abs() < 0.05, "{command}: {} g", found.target.g());
        assert!(found.warnings.is_empty(), "{command}: {:?}", found.warnings);
    }
}
