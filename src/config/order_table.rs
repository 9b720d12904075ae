//! Work orders as a CSV table (RFC 4180): one row a club, its order's number, player, promise and priority in every row
//! of the order or only in its first. Empty cells say nothing. A row named `default` holds what the clubs of its kind
//! have unless they say otherwise; a route is the names of its steps with blanks between.
//!
//! ```csv
//! order,player,due,name,kind,head_mass,swing_weight
//! W-1042,P-17,2026-12-24,driver,driver,203 g ± 2 g,D3 ± 0.5
//! W-1042,,,7-iron,iron,270 g ± 2 g,D2
//! ```

use super::build_section::TipTrims;
use super::club_section::{DEFAULTS_ROW, Defaults, read_club};
use super::document::{Document, Mistake, Mistakes, Section};
use super::node::{Fault, Node, Table, Value};
use super::order_file::{CLUBS, Head, too_many};
use crate::club::characteristic::Characteristic;
use crate::work_order::order::{ClubSpec, Order};

/// Columns besides the characteristics.
pub const COLUMNS: [&str; 9] = ["order", "player", "due", "priority", "name", "kind", "hand", "work", "route"];
/// Columns that every table has.
const NEEDED: [&str; 3] = ["order", "name", "kind"];
/// What a spreadsheet takes for a formula when a cell begins with it, wide forms included.
const FORMULA_STARTS: [char; 10] = ['=', '+', '-', '@', '\t', '\r', '＝', '＋', '－', '＠'];

/// The text of a cell that no spreadsheet takes for a formula: an apostrophe stands before what it might.
#[must_use]
pub fn guarded(text: &str) -> String {
    let takes_guard = text.starts_with('\'') || text.starts_with(FORMULA_STARTS);
    if takes_guard { format!("'{text}") } else { text.to_owned() }
}

/// The text that was guarded.
fn unguarded(cell: &str) -> &str {
    cell.strip_prefix('\'').filter(|rest| rest.starts_with('\'') || rest.starts_with(FORMULA_STARTS)).unwrap_or(cell)
}

/// One row: the line it begins at and its cells.
type Row = (usize, Vec<String>);

/// Splits a text into rows as RFC 4180 says, a bare line feed taken for a line end as well. Blank lines are no rows.
fn rows(text: &str) -> Result<Vec<Row>, Fault> {
    let mut rows: Vec<Row> = Vec::new();
    let (mut line, mut rest) = (1, text);
    while !rest.is_empty() {
        let (mut row, begins) = (Vec::new(), line);
        loop {
            let cell;
            if let Some(quoted) = rest.strip_prefix('"') {
                let (content, behind) = quoted_cell(quoted)
                    .ok_or_else(|| (line, String::new(), "opens a quote that is never closed".to_owned()))?;
                line += content.matches('\n').count();
                (cell, rest) = (content, behind);
            } else {
                let end = rest.find([',', '\n', '"']).unwrap_or(rest.len());
                let (content, behind) = rest.split_at(end);
                let (content, behind) = match content.strip_suffix('\r') {
                    Some(content) if behind.starts_with('\n') || behind.is_empty() => (content, behind),
                    _ => (content, behind),
                };
                (cell, rest) = (content.to_owned(), behind);
            }
            row.push(cell);
            let behind = rest.strip_prefix('\r').filter(|behind| behind.starts_with('\n')).unwrap_or(rest);
            if let Some(next) = behind.strip_prefix(',') {
                rest = next;
            } else if behind.is_empty() || behind == "\r" {
                rest = "";
                break;
            } else if let Some(next) = behind.strip_prefix('\n') {
                rest = next;
                line += 1;
                break;
            } else {
                return Err((
                    line,
                    String::new(),
                    "has a quote inside a cell: put the whole cell in quotes, and write \"\" for a quote".to_owned(),
                ));
            }
        }
        if row.iter().any(|cell| !cell.is_empty()) {
            rows.push((begins, row));
        }
    }
    Ok(rows)
}

/// The content of a cell behind its opening quote, and what stands behind its closing one.
fn quoted_cell(text: &str) -> Option<(String, &str)> {
    let mut content = String::new();
    let mut rest = text;
    loop {
        let (part, behind) = rest.split_once('"')?;
        content.push_str(part);
        match behind.strip_prefix('"') {
            Some(more) => {
                content.push('"');
                rest = more;
            }
            None => return Some((content, behind)),
        }
    }
}

/// Reads all orders of a table.
///
/// # Errors
/// Every mistake.
pub(super) fn read(file: &str, text: &str) -> Result<(Vec<Order>, Vec<Mistake>), Mistakes> {
    let (tables, faults) = match rows(text) {
        Ok(rows) => tables(&rows),
        Err(fault) => (Vec::new(), vec![fault]),
    };
    Document::read_tables(file, &tables, faults, read_rows)
}

/// Each row as a table of its cells, and what is wrong with the table as a whole.
fn tables(rows: &[Row]) -> (Vec<(String, usize, Table)>, Vec<Fault>) {
    let fault = |line: usize, key: &str, wanted: String| (line, key.to_owned(), wanted);
    let Some(((header_line, header), rows)) = rows.split_first() else {
        return (Vec::new(), vec![fault(1, "", "expected a header and one row a club".to_owned())]);
    };
    let header: Vec<&str> = header.iter().map(|name| name.trim()).collect();
    if header.len() == 1 && header.iter().any(|name| name.contains([';', '\t'])) {
        return (Vec::new(), vec![fault(*header_line, "", "expected commas between the cells (RFC 4180)".to_owned())]);
    }
    let known = |name: &&str| COLUMNS.contains(name) || Characteristic::parse(name).is_some();
    let mut faults = Vec::new();
    for (at, name) in header.iter().enumerate() {
        if !known(name) {
            let all: Vec<&str> = COLUMNS.into_iter().chain(Characteristic::all().map(Characteristic::name)).collect();
            faults.push(fault(*header_line, name, format!("is not a column here; columns: {}", all.join(", "))));
        } else if header.iter().position(|other| other == name) != Some(at) {
            faults.push(fault(*header_line, name, "stands twice in the header, keep one of them".to_owned()));
        }
    }
    for name in NEEDED.iter().filter(|name| !header.contains(name)) {
        faults.push(fault(*header_line, name, "is missing in the header".to_owned()));
    }
    if rows.is_empty() {
        faults.push(fault(*header_line, "", "expected one row a club below the header".to_owned()));
    }
    let mut tables = Vec::new();
    for (at, (line, cells)) in rows.iter().enumerate() {
        let path = format!("row[{}]", at + 1);
        if cells.len() > header.len() {
            let words = format!("has {} cells, the header has {}", cells.len(), header.len());
            faults.push(fault(*line, &path, words));
        }
        let named = header.iter().zip(cells).filter(|(name, cell)| known(name) && !cell.trim().is_empty());
        let entry = |(name, cell): (&&str, &String)| ((*name).to_owned(), *line, node(name, unguarded(cell), *line));
        tables.push((path, *line, Table { entries: named.map(entry).collect() }));
    }
    // Without its columns every row would only repeat what the header lacks.
    if NEEDED.iter().any(|name| !header.contains(name)) {
        tables.clear();
    }
    (tables, faults)
}

fn node(column: &str, cell: &str, line: usize) -> Node {
    let text = |text: &str| Node { line, source: format!("\"{text}\""), value: Value::Text(text.to_owned()) };
    if column != "route" {
        return text(cell);
    }
    let steps = cell.split_whitespace().map(text).collect();
    Node { line, source: format!("\"{cell}\""), value: Value::List(steps) }
}

/// An order as its rows come.
struct Gathered {
    head: Head,
    defaults: Defaults,
    clubs: Vec<ClubSpec>,
    /// Rows of clubs so far, those with mistakes too: the position of a club is that of its row.
    rows: usize,
}

fn read_rows(sections: &[Section<'_>]) -> Option<Vec<Order>> {
    let mut orders: Vec<Gathered> = Vec::new();
    for section in sections {
        let head = Head::read(section);
        match orders.iter().find(|order| order.head.number == head.number) {
            Some(order) => same_head(section, &order.head, &head),
            None => orders.push(Gathered { head, defaults: Defaults::default(), clubs: Vec::new(), rows: 0 }),
        }
    }
    // Defaults first: their row may stand behind the clubs.
    let is_defaults = |section: &Section<'_>| section.text("name").is_some_and(|name| name.trim() == DEFAULTS_ROW);
    for defaults in [true, false] {
        for section in sections.iter().filter(|section| is_defaults(section) == defaults) {
            let number = section.text("order").map(str::to_owned);
            // A row whose number is a mistake is looked at all the same.
            let at = orders.iter().position(|order| order.head.number == number);
            let at = at.or_else(|| orders.iter().position(|order| order.head.number.is_none()));
            let Some(order) = at.and_then(|at| orders.get_mut(at)) else { continue };
            if defaults {
                order.defaults.read_row(section);
                continue;
            }
            let number = order.head.number.clone().unwrap_or_default();
            order.clubs.extend(read_club(&number, order.rows, section, &order.defaults, &mut TipTrims::default()));
            order.rows += 1;
            if order.clubs.len() > CLUBS {
                section.mistake("order", too_many());
            }
        }
    }
    for order in orders.iter().filter(|order| order.rows == 0) {
        if let Some(section) = sections.iter().find(|s| s.text("order").map(str::to_owned) == order.head.number) {
            section.mistake("order", "has defaults and no club");
        }
    }
    orders.into_iter().map(|order| order.head.order(order.clubs)).collect()
}

/// What a later row says of its order must be what the first one said.
fn same_head(section: &Section<'_>, first: &Head, later: &Head) {
    let differs = "is another one in the first row of this order; leave the cell empty or make both the same";
    for (key, differ) in [
        ("player", later.player.is_some() && later.player != first.player),
        ("due", later.due.is_some() && later.due != first.due),
        ("priority", later.priority.is_some() && later.priority != first.priority),
    ] {
        if differ {
            section.mistake(key, differs);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::order_file::{OrderFormat, read_orders};
    use crate::work_order::order::Hand;
    use proptest::prelude::*;

    fn cells(text: &str) -> Vec<Vec<String>> {
        rows(text).unwrap().into_iter().map(|(_, cells)| cells).collect()
    }

    #[test]
    fn rows_are_split_as_rfc_4180_says() {
        // Section 2 of RFC 4180: its own examples of rules 1, 2, 5, 6 and 7.
        assert_eq!(cells("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n"), [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]);
        assert_eq!(cells("aaa,bbb,ccc\r\nzzz,yyy,xxx"), [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]);
        assert_eq!(cells("\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx"), [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]);
        assert_eq!(
            cells("\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx"),
            [["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]]
        );
        assert_eq!(cells("\"aaa\",\"b\"\"bb\",\"ccc\""), [["aaa", "b\"bb", "ccc"]]);
        assert_eq!(cells("a,\n\n,b"), [["a", ""], ["", "b"]]);
        assert_eq!(rows("a,b\n\"c\nd\",e\nf,\"g").unwrap_err().0, 4);
        assert_eq!(rows("a,b\nc\"d,e").unwrap_err().0, 2);
        assert_eq!(rows("a,b\n\"c\"d,e").unwrap_err().0, 2);
    }

    proptest! {
        /// What the `csv` crate writes is read as it was, whatever stands in the cells; and nothing makes it panic.
        #[test]
        fn an_independent_writer_is_read(table in prop::collection::vec(prop::collection::vec("[ -~é±\"\r\n,']{0,6}", 2..4), 1..5)) {
            let mut writer = csv::WriterBuilder::new().flexible(true).terminator(csv::Terminator::CRLF).from_writer(Vec::new());
            for row in &table {
                writer.write_record(row).unwrap();
            }
            let text = String::from_utf8(writer.into_inner().unwrap()).unwrap();
            let full: Vec<Vec<String>> = table.into_iter().filter(|row| row.iter().any(|cell| !cell.is_empty())).collect();
            prop_assert_eq!(cells(&text), full);
        }

        #[test]
        fn any_text_is_read_or_refused(text in "[a,\"\r\n;]{0,40}") {
            let _either = rows(&text);
        }

        #[test]
        fn a_guarded_cell_is_no_formula_and_comes_back(text in "[-=+@'\t\ra＝＋]{0,5}") {
            let cell = guarded(&text);
            prop_assert!(!cell.starts_with(FORMULA_STARTS));
            prop_assert_eq!(unguarded(&cell), text);
        }
    }

    const TABLE: &str = "\u{feff}order,player,due,name,kind,hand,route,head_mass,swing_weight\r\n\
        W-1,\"P, 17\",2026-12-24,\"the \"\"long\"\" one\",driver,,,203 g ± 2 g,D3\r\n\
        W-2,'=1+1,,x,iron,,,,\r\n\
        W-1,,,default,iron,left,grip hand_over,,D2\r\n\
        W-1,,,7-iron,iron,,,\"270 g\",\r\n";

    #[test]
    fn a_table_of_several_orders_is_read() {
        let orders = read_orders("o.csv", TABLE, OrderFormat::Csv).unwrap();
        assert_eq!(orders.iter().map(|order| order.number.as_str()).collect::<Vec<_>>(), ["W-1", "W-2"]);
        assert_eq!((orders[0].player.as_deref(), orders[1].player.as_deref()), (Some("P, 17"), Some("=1+1")));
        let [long, seven] = &orders[0].clubs[..] else { panic!() };
        assert_eq!((long.name.as_str(), long.hand), ("the \"long\" one", Hand::Right));
        assert_eq!((seven.id.as_str(), seven.hand, seven.route.len()), ("W-1/2", Hand::Left, 2));
        assert_eq!(seven.targets.iter().map(|row| row.text.as_str()).collect::<Vec<_>>(), ["270 g", "D2"]);
    }

    #[test]
    fn every_mistake_is_named_with_its_line_and_row() {
        let mistakes = |text: &str| read_orders("o.csv", text, OrderFormat::Csv).unwrap_err().0;
        let bad = "order,name,kind,colour,lie,lie,player\r\nW-1,\"a\r\nb\",iron,red,62,,P-1\nW-1,x,spoon,,,,P-2,more\n,y,iron,,,,\n";
        let found: Vec<(usize, String)> = mistakes(bad).into_iter().map(|m| (m.line, m.key)).collect();
        let expected = [
            (1, "colour"),
            (1, "lie"),
            (2, "row[1].name"),
            (2, "row[1].lie"),
            (4, "row[2]"),
            (4, "row[2].player"),
            (4, "row[2].kind"),
            (5, "row[3].order"),
        ];
        assert_eq!(found, expected.map(|(line, key)| (line, key.to_owned())));
        for (text, words) in [
            ("", "a header and one row"),
            ("order,name,kind\n", "one row a club below"),
            ("order;name;kind\nW-1;x;iron\n", "expected commas"),
            ("order,name\nW-1,x\n", "is missing in the header"),
            ("order,name,kind\nW-1,default,iron\n", "defaults and no club"),
            ("order,name,kind\nW-1,default,iron\nW-1,default,iron\nW-1,x,iron\n", "has its defaults already"),
        ] {
            let found = mistakes(text);
            assert!(found.len() == 1 && found[0].wanted.contains(words), "{text}: {found:?}");
        }
    }
}
