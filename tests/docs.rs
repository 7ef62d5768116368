//! Docs cannot rot: paths named in them exist, generated lists match the registries.
use std::{fs, path::Path};

fn documents() -> Vec<String> {
    let mut v = vec!["README.md".to_owned(), "DEVELOPERS.md".to_owned()];
    for e in fs::read_dir("docs").unwrap() {
        let p = e.unwrap().path();
        if p.extension().is_some_and(|x| x == "md") {
            v.push(p.to_str().unwrap().to_owned());
        }
    }
    v
}

#[test]
fn links_in_the_docs_lead_somewhere() {
    let mut looked_at = 0;
    for doc in documents() {
        let text = fs::read_to_string(&doc).unwrap();
        let base = Path::new(&doc).parent().unwrap();
        for part in text.split("](").skip(1) {
            let target = part.split([')', '#']).next().unwrap();
            if target.is_empty() || target.starts_with("http") {
                continue;
            }
            looked_at += 1;
            assert!(base.join(target).exists(), "{doc} links to {target}, which does not exist");
        }
    }
    assert!(looked_at > 10, "only {looked_at} links were looked at");
}

#[test]
fn source_paths_named_in_the_docs_exist() {
    for doc in documents() {
        let text = fs::read_to_string(&doc).unwrap();
        for word in text.split('`').skip(1).step_by(2) {
            let is_path = (word.starts_with("src/")
                || word.starts_with("tests/")
                || word.starts_with("docs/")
                || word.starts_with("sample-images/"))
                && !word.contains(' ')
                && !word.contains('*');
            assert!(!is_path || Path::new(word).exists(), "{doc} names {word}, which does not exist");
        }
    }
}

/// The lists under docs/ that come from the registries. `REGENERATE=1` rewrites them and fails if any changed, so that
/// a second, plain run is needed.
fn check_list(path: &str, expected: &str) {
    let found = fs::read_to_string(path).unwrap_or_default();
    if found == expected {
        return;
    }
    if std::env::var_os("REGENERATE").is_some() {
        fs::write(path, expected).unwrap();
        panic!("{path} was out of date and has been rewritten: look at it and run again");
    }
    panic!("{path} does not match the registry: run REGENERATE=1 cargo test --release --test docs");
}

#[test]
fn the_list_of_caveats_is_the_registry() {
    let mut text =
        String::from("# Caveats\n\nThe number stands, trust it less. Made from `src/caveat.rs`; the ids are frozen.\n");
    for k in lowsun::caveat::ALL {
        text += &format!("\n## {}\n\n{}\n\n{}\n\nTry: {}.\n", k.id, k.line, k.long, k.hint.trim_end_matches('.'));
    }
    check_list("docs/caveats.md", &text);
}

#[test]
fn the_list_of_what_a_photo_is_judged_by_is_the_registry() {
    let mut text = String::from(
        "# Is the photo fit for use?\n\nWhat `lowsun check` judges, the most telling first: go, usable with care, or retake. \
         Made from `src/fit/kinds.rs`; the ids are frozen. What cannot be known from photo and plan is not judged and does \
         not count against the photo.\n",
    );
    for k in lowsun::fit::ALL {
        let unit = if k.unit.is_empty() { String::new() } else { format!(" ({})", k.unit) };
        let number = if k.number == "none" { String::new() } else { format!("Number: {}{unit}. ", k.number) };
        text += &format!("\n## {}\n\n**{}.** {number}Limits: {}.\n\n", k.id, k.fault, k.limits);
        text += &format!("{}\n\nTo do: {}.\n", k.why, k.change.trim_end_matches('.'));
    }
    check_list("docs/fitness.md", &text);
}

#[test]
fn the_list_of_findings_is_the_registry() {
    let mut text = String::from(
        "# Findings\n\nWhat the marks say about the cut. Made from `src/explain/findings.rs`; the ids are frozen.\n",
    );
    for r in lowsun::explain::findings::ALL {
        text += &format!("\n## {}\n\n**{}.** {}\n\n{}\n", r.id, r.title, r.line, r.long);
    }
    check_list("docs/findings.md", &text);
}

#[test]
fn the_drawings_are_those_the_program_makes() {
    let page = fs::read_to_string("docs/photographing.md").unwrap();
    let drawings = lowsun::draw::guide::drawings();
    assert!(drawings.len() >= 4);
    for (name, svg) in drawings {
        assert!(svg.starts_with("<svg ") && svg.contains("<title>"), "{name} has no title for those who cannot see it");
        assert!(page.contains(&format!("({name}.svg)")), "docs/photographing.md does not show {name}.svg");
        check_list(&format!("docs/{name}.svg"), &svg);
    }
}

#[test]
fn the_schema_of_the_report_is_that_of_its_types() {
    check_list("docs/report.schema.json", &format!("{:#}\n", lowsun::report::schema()));
}

/// The first block of a language in a document.
fn block(path: &str, language: &str) -> String {
    let text = fs::read_to_string(path).unwrap();
    text.split(&format!("```{language}\n")).nth(1).unwrap().split("```").next().unwrap().to_owned()
}

/// The reader itself says which keys it knows, in each table, when it meets one that it does not.
#[test]
fn every_key_of_the_plan_is_in_its_document_and_the_example_is_read() {
    use lowsun::{plan::parse, units::LengthUnit::Mm};
    let example = block("docs/plan-file.md", "toml");
    parse(&example, "docs/plan-file.md", Mm).unwrap();
    let mut looked_at = 0;
    for table in ["", "cutter", "second_cutter", "cut", "pocket", "material", "machine", "light", "reference"] {
        let head = if table.is_empty() { String::new() } else { format!("[{table}]\n") };
        let hint = parse(&format!("{head}zzzzz = 1\n"), "a.toml", Mm).unwrap_err().hint;
        let keys: Vec<&str> = hint.split("nown here: ").nth(1).unwrap().split(", ").collect();
        let part = match table {
            "" => example.as_str(),
            // The same keys as those of the cutter, as the document says.
            "second_cutter" => example.split("[cutter]").nth(1).unwrap(),
            _ => example.split(&format!("\n[{table}]")).nth(1).unwrap(),
        };
        // Tables have heads of their own, so the whole example tells the keys of the top.
        let part = if table.is_empty() { part } else { part.split("\n[").next().unwrap() };
        for key in keys {
            looked_at += 1;
            assert!(part.contains(key), "docs/plan-file.md does not tell {table}.{key}");
        }
    }
    assert!(looked_at >= 40, "only {looked_at} keys were looked at");
}

#[test]
fn the_example_of_marks_by_hand_is_read() {
    lowsun::plan::ByHand::parse(&block("docs/marking.md", "toml"), "docs/marking.md").unwrap();
}

#[test]
fn no_two_caveats_share_an_id() {
    let mut caveats: Vec<_> = lowsun::caveat::ALL.iter().map(|k| k.id).collect();
    let n = caveats.len();
    caveats.sort_unstable();
    caveats.dedup();
    assert_eq!(caveats.len(), n, "two caveats share an id");
}
