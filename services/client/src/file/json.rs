//! JSON items, cut out of a file one by one: of a list, or one after the other.

use std::io::BufRead;

use super::{Asked, FileTrouble, Item, Written};

/// Most bytes of one item.
const LONGEST_ITEM: usize = 16 * 1024 * 1024;

/// What comes next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Next {
    /// Nothing was read yet.
    Beginning,
    /// An item of a list; it may end here only where it has none yet.
    Item { may_end: bool },
    /// A comma or the end of the list.
    Comma,
    /// An item, or the end of the file.
    Loose,
    /// Nothing but space.
    End,
    /// Nothing can be read any more.
    Broken,
}

/// The items of a JSON file.
#[derive(Debug)]
pub(crate) struct JsonItems<R> {
    read: R,
    line: u64,
    column: u64,
    next: Next,
    list: bool,
}

impl<R: BufRead> JsonItems<R> {
    pub(crate) fn new(read: R) -> JsonItems<R> {
        JsonItems {
            read,
            line: 1,
            column: 1,
            next: Next::Beginning,
            list: true,
        }
    }

    /// A list, and not one item after the other. Known from the first item on.
    pub(crate) fn is_list(&self) -> bool {
        self.list
    }

    /// The next item.
    pub(crate) fn next(&mut self) -> Option<Result<Item, FileTrouble>> {
        match self.cut() {
            Ok(None) => None,
            Ok(Some(item)) => Some(Ok(item)),
            Err(trouble) => {
                self.next = Next::Broken;
                Some(Err(trouble))
            }
        }
    }

    fn cut(&mut self) -> Result<Option<Item>, FileTrouble> {
        loop {
            let Some(byte) = self.byte_after_space()? else {
                return match self.next {
                    Next::Item { .. } | Next::Comma => Err(self.wrong("the list does not end")),
                    _ => Ok(None),
                };
            };
            match (self.next, byte) {
                (Next::Broken, _) => return Ok(None),
                (Next::Beginning, b'[') => {
                    self.take();
                    self.next = Next::Item { may_end: true };
                }
                (Next::Beginning, _) => {
                    self.list = false;
                    self.next = Next::Loose;
                }
                (Next::Item { may_end: true } | Next::Comma, b']') => {
                    self.take();
                    self.next = Next::End;
                }
                (Next::Comma, b',') => {
                    self.take();
                    self.next = Next::Item { may_end: false };
                }
                (Next::Comma, _) => return Err(self.wrong("a comma or ] must stand here")),
                (Next::Item { .. }, b'{') => {
                    self.next = Next::Comma;
                    return self.item().map(Some);
                }
                (Next::Loose, b'{') => return self.item().map(Some),
                (Next::Item { .. } | Next::Loose, _) => {
                    return Err(self.wrong("an item begins with {"));
                }
                (Next::End, _) => return Err(self.wrong("something stands after the list")),
            }
        }
    }

    /// The braces that begin here, and what is between them.
    fn item(&mut self) -> Result<Item, FileTrouble> {
        let (line, column) = (self.line, self.column);
        let mut bytes = Vec::new();
        let (mut depth, mut text, mut escaped) = (0_usize, false, false);
        loop {
            let Some(byte) = self.peek()? else {
                return Err(FileTrouble {
                    line,
                    column,
                    what: "what begins here does not end".to_owned(),
                });
            };
            self.take();
            bytes.push(byte);
            if bytes.len() > LONGEST_ITEM {
                return Err(FileTrouble {
                    line,
                    column,
                    what: "what begins here is longer than 16 MiB".to_owned(),
                });
            }
            if text {
                match (escaped, byte) {
                    (true, _) => escaped = false,
                    (false, b'\\') => escaped = true,
                    (false, b'"') => text = false,
                    (false, _) => {}
                }
                continue;
            }
            match byte {
                b'"' => text = true,
                b'{' | b'[' => depth += 1,
                b'}' | b']' => depth = depth.saturating_sub(1),
                _ => {}
            }
            if depth == 0 {
                break;
            }
        }
        Ok(read(line, column, bytes))
    }

    fn byte_after_space(&mut self) -> Result<Option<u8>, FileTrouble> {
        while let Some(byte) = self.peek()? {
            if !byte.is_ascii_whitespace() {
                return Ok(Some(byte));
            }
            self.take();
        }
        Ok(None)
    }

    fn peek(&mut self) -> Result<Option<u8>, FileTrouble> {
        let (line, column) = (self.line, self.column);
        match self.read.fill_buf() {
            Ok(bytes) => Ok(bytes.first().copied()),
            Err(error) => Err(FileTrouble {
                line,
                column,
                what: error.to_string(),
            }),
        }
    }

    /// Goes on by the byte that was looked at.
    fn take(&mut self) {
        let byte = match self.read.fill_buf() {
            Ok(bytes) => bytes.first().copied(),
            Err(_) => None,
        };
        self.read.consume(1);
        match byte {
            Some(b'\n') => {
                self.line += 1;
                self.column = 1;
            }
            // Bytes that go on a letter are no column of their own.
            Some(byte) if byte & 0xC0 != 0x80 => self.column += 1,
            _ => {}
        }
    }

    fn wrong(&self, what: &str) -> FileTrouble {
        FileTrouble {
            line: self.line,
            column: self.column,
            what: what.to_owned(),
        }
    }
}

/// An item whose text begins at a line and column.
fn read(line: u64, column: u64, bytes: Vec<u8>) -> Item {
    match serde_json::from_slice::<serde_json::Value>(&bytes) {
        Ok(value) => {
            let label = value["label"].as_str().unwrap_or_default();
            let name = if label.is_empty() {
                format!("line {line}")
            } else {
                format!("line {line}, {label}")
            };
            Item {
                name,
                asked: Ok(Asked::Step(value.clone())),
                written: Written::Json(value),
            }
        }
        Err(error) => {
            let within = u64::try_from(error.line()).unwrap_or(1).max(1);
            let at = u64::try_from(error.column()).unwrap_or(1);
            let column = if within == 1 {
                column + at.max(1) - 1
            } else {
                at
            };
            let line = line + within - 1;
            let told = error.to_string();
            let what = told
                .rsplit_once(" at line ")
                .map_or(&*told, |(what, _)| what);
            Item {
                name: format!("line {line}"),
                asked: Err(format!("line {line}, column {column}: {what}")),
                written: Written::Unread(bytes),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(text: &str) -> Vec<String> {
        let mut items = JsonItems::new(text.as_bytes());
        let mut told = Vec::new();
        while let Some(item) = items.next() {
            told.push(match item {
                Err(trouble) => format!("stop, {trouble}"),
                Ok(Item {
                    asked: Err(why), ..
                }) => why,
                Ok(Item { name, .. }) => name,
            });
        }
        told
    }

    #[test]
    fn items_of_a_list_and_items_after_one_another_are_the_same() {
        for text in [
            "[{\"label\": \"a\"},\n {\"label\": \"b}]\"}]\n",
            "{\"label\": \"a\"}\n{\"label\": \"b}]\"}\n",
            "{\"label\": \"a\"}\r\n\r\n{\"label\": \"b}]\"}",
        ] {
            let names: Vec<String> = told(text)
                .iter()
                .filter_map(|name| name.split_once(", "))
                .map(|(_, label)| label.to_owned())
                .collect();
            assert_eq!(names, ["a", "b}]"], "{text}");
        }
        assert_eq!(told("[]"), Vec::<String>::new());
        assert_eq!(told(" \r\n "), Vec::<String>::new());
    }

    #[test]
    fn what_cannot_be_read_is_said_with_line_and_column() {
        // text                                what is told
        for (text, said) in [
            (
                "[{\"label\": \"a\"}\n {}]",
                "stop, line 2, column 2: a comma or ] must stand here",
            ),
            ("[{}, 7]", "stop, line 1, column 6: an item begins with {"),
            (
                "[{\"label\": \"a\"",
                "stop, line 1, column 2: what begins here does not end",
            ),
            ("[{},", "stop, line 1, column 5: the list does not end"),
            (
                "[{}] {}",
                "stop, line 1, column 6: something stands after the list",
            ),
            ("{\"a\":\n  tru}\n{}", "line 2, column 6: expected ident"),
        ] {
            assert!(
                told(text).iter().any(|line| line == said),
                "{text}: {:?}",
                told(text)
            );
        }
        // A bad item does not hide the next.
        assert_eq!(told("{\"a\": x}\n{\"label\": \"b\"}").len(), 2);
    }
}
