//! Lists a page at a time (AIP-158).
//!
//! A token says after which item the next page begins, and belongs to one list:
//! it grants nothing, and anywhere else it is refused.

use crate::parse::{At as _, Bad};

/// Items of a page where nobody says how many.
const USUAL: usize = 50;
/// Most items of a page.
const MOST: usize = 200;

/// Which part of a list is asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Page {
    /// The list, with whatever it was narrowed by.
    list: String,
    /// Most items to give.
    size: usize,
    /// Key of the last item given before; absent on the first page.
    after: Option<String>,
}

impl Page {
    /// The page of `list` that a request asks for.
    pub(crate) fn parse(list: impl Into<String>, size: i32, token: &str) -> Result<Page, Bad> {
        let list = list.into();
        let size = match usize::try_from(size) {
            Ok(0) => USUAL,
            Ok(size) => size.min(MOST),
            Err(_) => return Err(Bad::rule("must not be negative")).at("page_size"),
        };
        let after = if token.is_empty() {
            None
        } else {
            let key = from_hex(token).and_then(|text| {
                text.strip_prefix(&list)?
                    .strip_prefix('\n')
                    .map(str::to_owned)
            });
            Some(key.ok_or_else(wrong_token)?)
        };
        Ok(Page { list, size, after })
    }

    /// The key as a number, where the list is ordered by one.
    pub(crate) fn after_number(&self) -> Result<Option<i64>, Bad> {
        let number = |key: &String| key.parse().map_err(|_| wrong_token());
        self.after.as_ref().map(number).transpose()
    }

    /// How many to look for: one more than the page takes tells whether there is
    /// a next one.
    pub(crate) fn one_more(&self) -> i64 {
        i64::try_from(self.size.saturating_add(1)).unwrap_or(i64::MAX)
    }

    /// This page of a whole list in the order of its keys, and the token of the
    /// next. It does not matter whether the item it begins after is still there.
    pub(crate) fn cut<T>(&self, mut items: Vec<T>, key: impl Fn(&T) -> String) -> (Vec<T>, String) {
        if let Some(after) = &self.after {
            items.retain(|item| key(item) > *after);
        }
        self.first_of(items, key)
    }

    /// This page of the items that come after its beginning, and the token of
    /// the next: there is one where there are more items than it takes.
    pub(crate) fn first_of<T>(
        &self,
        mut items: Vec<T>,
        key: impl Fn(&T) -> String,
    ) -> (Vec<T>, String) {
        let more = items.len() > self.size;
        items.truncate(self.size);
        let token = match items.last() {
            Some(last) if more => to_hex(&format!("{}\n{}", self.list, key(last))),
            _ => String::new(),
        };
        (items, token)
    }
}

fn wrong_token() -> Bad {
    Bad {
        field: "page_token".to_owned(),
        ..Bad::rule("is not a token of this list")
    }
}

fn to_hex(text: &str) -> String {
    text.bytes().map(|byte| format!("{byte:02x}")).collect()
}

fn from_hex(token: &str) -> Option<String> {
    let digits = token.as_bytes();
    if !digits.len().is_multiple_of(2) || !digits.iter().all(u8::is_ascii_hexdigit) {
        return None;
    }
    let bytes = (0..token.len()).step_by(2);
    let bytes: Option<Vec<u8>> = bytes
        .map(|i| u8::from_str_radix(token.get(i..i + 2)?, 16).ok())
        .collect();
    String::from_utf8(bytes?).ok()
}

#[cfg(test)]
mod tests {
    #![expect(clippy::unwrap_used, reason = "a test may panic")]

    use super::*;

    fn numbers(page: &Page) -> (Vec<i64>, String) {
        page.cut((1..=201).collect(), |n| format!("{n:04}"))
    }

    #[test]
    fn a_page_is_as_long_as_asked_within_bounds() {
        // 0 is the default, above the maximum is the maximum, negative is an
        // error: AIP-158 (from memory).
        for (asked, given) in [
            (0, 50),
            (1, 1),
            (50, 50),
            (200, 200),
            (201, 200),
            (i32::MAX, 200),
        ] {
            let page = Page::parse("totes 1", asked, "").unwrap();
            assert_eq!(numbers(&page).0.len(), given, "{asked}");
        }
        for negative in [-1, i32::MIN] {
            assert_eq!(
                Page::parse("totes 1", negative, "").unwrap_err().field,
                "page_size"
            );
        }
    }

    #[test]
    fn pages_one_after_another_give_the_whole_list_once() {
        let (mut all, mut token) = (Vec::new(), String::new());
        for _ in 0..3 {
            let page = Page::parse("totes 1", 100, &token).unwrap();
            let (items, next) = numbers(&page);
            all.extend(items);
            token = next;
        }
        assert_eq!(all, (1..=201).collect::<Vec<i64>>());
        assert_eq!(token, "");
    }

    #[test]
    fn a_page_goes_on_where_the_last_item_given_has_gone() {
        let page = Page::parse("totes 1", 2, "").unwrap();
        let (_, token) = page.cut(vec!["a", "b", "c", "d"], |code| (*code).to_owned());
        let page = Page::parse("totes 1", 2, &token).unwrap();
        let rest = page.cut(vec!["a", "c", "d"], |code| (*code).to_owned());
        assert_eq!(rest, (vec!["c", "d"], String::new()));
    }

    #[test]
    fn a_full_last_page_has_no_token() {
        let page = Page::parse("totes 1", 3, "").unwrap();
        assert_eq!(
            page.first_of(vec![1, 2, 3], i64::to_string),
            (vec![1, 2, 3], String::new())
        );
    }

    #[test]
    fn a_token_of_another_list_or_of_nobody_is_refused() {
        let page = Page::parse("totes 1", 2, "").unwrap();
        let (_, token) = numbers(&page);
        assert!(Page::parse("totes 1", 2, &token).is_ok());
        let odd = &token[1..];
        for (list, token) in [
            ("totes 2", token.as_str()),
            ("totes 11", &token),
            ("scales 1", &token),
            ("totes 1", odd),
            ("totes 1", "zz"),
            ("totes 1", "ff"),
            ("totes 1", "\u{e9}"),
        ] {
            let refused = Page::parse(list, 2, token).unwrap_err();
            assert_eq!(refused.field, "page_token", "{list} {token}");
        }
        let forged = to_hex("tickets\nx");
        let page = Page::parse("tickets", 2, &forged).unwrap();
        assert_eq!(page.after_number().unwrap_err().field, "page_token");
    }
}
