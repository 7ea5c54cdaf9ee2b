//! How every random test here runs, and that a case once failed is tried first ever after.
//!
//! A failure prints the smallest failing input and the file that now holds its seed
//! (`tests/seeds/`, to be committed). Run the test again: it begins with that seed.

use proptest::prelude::*;
use proptest::test_runner::{FileFailurePersistence, TestError, TestRunner};

/// Cases of a quick test; `PROPTEST_CASES` changes it. 256 takes well under a second each.
pub(crate) fn seeded() -> ProptestConfig {
    let seeds = FileFailurePersistence::SourceParallel("seeds");
    ProptestConfig { failure_persistence: Some(Box::new(seeds)), ..ProptestConfig::default() }
}

/// The same with this many cases.
pub(crate) fn seeded_cases(cases: u32) -> ProptestConfig {
    ProptestConfig { cases, ..seeded() }
}

/// Runs a test that fails above 900; gives the inputs it tried and the smallest that failed.
fn fails_above_900(source: &'static str) -> (Vec<u32>, u32) {
    let config = ProptestConfig { source_file: Some(source), ..seeded_cases(10_000) };
    let tried = std::cell::RefCell::new(Vec::new());
    let ended = TestRunner::new(config).run(&(0_u32..1000), |x| {
        tried.borrow_mut().push(x);
        prop_assert!(x <= 900);
        Ok(())
    });
    match ended {
        Err(TestError::Fail(_, smallest)) => (tried.into_inner(), smallest),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_failed_case_is_kept_beside_the_tests_and_tried_first_the_next_time() {
    let dir = tempfile::tempdir().expect("a folder");
    let folder = dir.path().join("tests/it");
    std::fs::create_dir_all(&folder).expect("a folder");
    std::fs::write(folder.join("main.rs"), "").expect("a file");
    let source = folder.join("x.rs");
    std::fs::write(&source, "").expect("a file");
    let source: &'static str = Box::leak(source.to_str().expect("a path").to_owned().into_boxed_str());
    let (_, smallest) = fails_above_900(source);
    assert_eq!(smallest, 901);
    let kept = std::fs::read_to_string(dir.path().join("tests/seeds/x.txt")).expect("the seeds");
    assert_eq!(kept.lines().filter(|l| l.starts_with("cc ")).count(), 1, "{kept}");
    assert!(kept.contains("shrinks to") && kept.contains("901"), "{kept}");
    let (tried, _) = fails_above_900(source);
    assert!(tried[0] > 900, "the kept case comes first: {tried:?}");
}

#[test]
fn every_random_test_here_keeps_its_seeds() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/it");
    let mut blocks = 0;
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.extension().is_none_or(|e| e != "rs") {
            continue;
        }
        let text = std::fs::read_to_string(&path).expect("text");
        let begun = concat!("proptest", "! {\n");
        for after in text.split(begun).skip(1) {
            blocks += 1;
            let first = after.trim_start();
            assert!(first.starts_with("#![proptest_config(seeded"), "{}: {first:.60}", path.display());
        }
    }
    assert!(blocks >= 3, "{blocks}");
}
