//! Keeps a panic inside a decoder from ending the program: damaged files are the decoders' everyday food.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::Once;

thread_local! {
    static QUIET: Cell<bool> = const { Cell::new(false) };
}

/// Runs `decode`; a panic in it becomes `Err` with the panic's words and is not printed. The first call adds to the
/// process's panic hook a test of this thread's switch; other threads' panics are reported as before.
pub(super) fn guarded<T>(decode: impl FnOnce() -> T) -> Result<T, String> {
    static HOOK: Once = Once::new();
    HOOK.call_once(|| {
        let before = take_hook();
        set_hook(Box::new(move |facts| {
            if !QUIET.get() {
                before(facts);
            }
        }));
    });
    let outer = QUIET.replace(true);
    let result = catch_unwind(AssertUnwindSafe(decode));
    QUIET.set(outer);
    result.map_err(|p| match p.downcast::<String>() {
        Ok(s) => *s,
        Err(p) => p.downcast_ref::<&str>().map_or_else(|| "no reason given".to_owned(), |s| (*s).to_owned()),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn a_panic_becomes_a_sentence() {
        assert_eq!(guarded(|| 7), Ok(7));
        assert_eq!(guarded(|| -> u8 { panic!("index {} of 3", 5) }), Err("index 5 of 3".to_owned()));
    }
}
