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
