//! Every module may import only modules declared above it in `src/lib.rs`.
use std::{fs, path::Path};

fn order() -> Vec<String> {
    fs::read_to_string("src/lib.rs")
        .unwrap()
        .lines()
        .filter_map(|l| l.strip_prefix("pub mod ")?.strip_suffix(';').map(str::to_owned))
        .collect()
}
fn check(path: &Path, me: &str, order: &[String], seen: &mut usize, bad: &mut Vec<String>) {
    if path.is_dir() {
        for e in fs::read_dir(path).unwrap() {
            check(&e.unwrap().path(), me, order, seen, bad);
        }
        return;
    }
    *seen += 1;
    let rank = |m: &str| order.iter().position(|o| o == m);
    for (n, line) in fs::read_to_string(path).unwrap().lines().enumerate() {
        if line.trim_start().starts_with("//") {
            continue;
        }
        for part in line.split("crate::").skip(1) {
            let m: String = part.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
            if m.is_empty() {
                bad.push(format!("{}:{}: write `use crate::<module>::…`, one module a line", path.display(), n + 1));
            }
            if m != me && rank(&m) > rank(me) {
                bad.push(format!("{}:{}: {me} imports {m}, which is below it", path.display(), n + 1));
            }
        }
    }
}
#[test]
fn modules_import_only_what_is_declared_above_them() {
    let order = order();
    assert!(order.len() > 10, "src/lib.rs no longer lists its modules one per line");
    let (mut seen, mut bad) = (0, vec![]);
    for m in &order {
        let (f, d) = (format!("src/{m}.rs"), format!("src/{m}"));
        let p = if Path::new(&f).exists() { f } else { d };
        check(Path::new(&p), m, &order, &mut seen, &mut bad);
    }
    assert!(seen >= order.len(), "looked at {seen} files for {} modules", order.len());
    assert!(bad.is_empty(), "{}", bad.join("\n"));
}
