//! Records as files, checked by programs that are not ours: Python's csv module (RFC 4180) and jsonschema (JSON Schema,
//! draft 2020-12), both independent of this project.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

mod built_club;
mod desk_bench;
mod support;

use std::collections::BTreeSet;
use std::path::Path;

use benchscribe::club::characteristic::Characteristic;
use benchscribe::output::record::SCHEMA;
use benchscribe::work_order::cautions::Caution;
use benchscribe::work_order::judging::Verdict;
use benchscribe::work_order::order::{ClubKind, Hand, Stage, WorkKind};
use benchscribe::work_order::record::ClubState;
use benchscribe::work_order::steps::Step;
use serde_json::{Value, json};
use support::python::{python, run};
use support::{assert_verified, benchscribe, json_lines, on_data};

const VALIDATOR: [&str; 2] = ["jsonschema==4.26.0", "rfc3339-validator==0.1.4"];

/// Validates records; what is wrong with them.
#[track_caller]
fn validate(folder: &Path, records: &str, strict: bool) -> Result<String, String> {
    let (schema, file) = (folder.join("schema.json"), folder.join("records.jsonl"));
    let printed = benchscribe(["records", "schema"]);
    assert!(printed.status.success());
    std::fs::write(&schema, printed.stdout).unwrap();
    std::fs::write(&file, records).unwrap();
    let mut arguments = vec![schema.display().to_string(), file.display().to_string()];
    arguments.extend(strict.then(|| "strict".to_owned()));
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    run(&python("jsonschema", &VALIDATOR), "exports/validate.py", &arguments)
}

#[tokio::test]
async fn real_records_are_valid_by_the_published_schema() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    built_club::keep(&data, &built_club::build(built_club::ORDER)).await;
    assert_verified(&data);
    let (code, records, err) = on_data(&data, &["records", "export", "--as", "json"]);
    assert_eq!(code, Some(0), "{err}");
    let parsed = json_lines(&records);
    assert_eq!(parsed.len(), 2);
    assert!(parsed[0]["entries"].as_array().unwrap().len() >= 8, "{}", parsed[0]);
    assert_eq!(validate(folder.path(), &records, true), Ok("2 valid\n".to_owned()));
    assert_eq!(parsed[0]["player"], "Jürgen Ødegård 王小明");
    let (_, shown, _) = on_data(&data, &["records", "show", "W-1042/1", "--json"]);
    assert_eq!(json_lines(&shown)[0]["player"], parsed[0]["player"]);

    // What is not a record is refused, field by field.
    for (pointer, wrong) in [
        ("/record_version", json!(2)),
        ("/player", json!(17)),
        ("/state", json!("done")),
        ("/finished_at", json!("yesterday")),
        ("/chain", json!("beef")),
        ("/entries/0/value", json!("256.38")),
        ("/entries/0/u", json!(-0.1)),
        ("/entries/0/unit", json!("kg")),
        ("/entries/0/characteristic", json!("hue")),
        ("/entries/0/event", json!("7")),
        ("/entries/0/captured_at", json!("26 Nov")),
        ("/steps/0/step", json!("polish")),
    ] {
        let mut record = parsed[0].clone();
        *record.pointer_mut(pointer).unwrap_or_else(|| panic!("{pointer} is not in {}", parsed[0])) = wrong;
        let fault = validate(folder.path(), &record.to_string(), false).unwrap_err();
        let field = pointer.rsplit('/').next().unwrap();
        assert!(fault.contains(field), "{pointer}: {fault}");
    }
    for field in ["token", "entries", "steps", "chain"] {
        let mut record = parsed[0].clone();
        record.as_object_mut().unwrap().remove(field);
        assert!(validate(folder.path(), &record.to_string(), false).unwrap_err().contains(field));
    }
}

#[tokio::test]
async fn records_of_the_demo_are_valid_too() {
    let folder = tempfile::tempdir().unwrap();
    let ports = folder.path().join("ports").display().to_string();
    let arguments = ["demo", "--once", "--clubs", "2", "--pace", "10", "--listen", "127.0.0.1:0", "--ports", &ports];
    let output = benchscribe(arguments);
    let records = String::from_utf8(output.stdout).unwrap();
    assert_eq!(json_lines(&records).len(), 2, "{}", String::from_utf8_lossy(&output.stderr));
    assert_eq!(validate(folder.path(), &records, true), Ok("2 valid\n".to_owned()));
}

#[test]
fn the_schema_knows_every_name_that_can_stand_in_a_record() {
    let schema: Value = serde_json::from_str(SCHEMA).unwrap();
    let names = |pointer: &str| -> BTreeSet<String> {
        let list = schema.pointer(pointer).and_then(Value::as_array).unwrap_or_else(|| panic!("{pointer}"));
        list.iter().map(|name| name.as_str().unwrap().to_owned()).collect()
    };
    let of = |names: &[&'static str]| -> BTreeSet<String> { names.iter().map(|name| (*name).to_owned()).collect() };
    let entry = "/$defs/entry/properties";
    let characteristics: Vec<_> = Characteristic::all().map(Characteristic::name).collect();
    let units: Vec<_> = Characteristic::all().map(Characteristic::unit).collect();
    assert_eq!(names(&format!("{entry}/characteristic/enum")), of(&characteristics));
    assert_eq!(names(&format!("{entry}/unit/enum")), of(&units));
    assert_eq!(names(&format!("{entry}/stage/enum")), of(&Stage::ALL.iter().map(|s| s.name()).collect::<Vec<_>>()));
    assert_eq!(names(&format!("{entry}/verdict/enum")), of(&Verdict::ALL.iter().map(|v| v.name()).collect::<Vec<_>>()));
    assert_eq!(names("/properties/state/enum"), of(&ClubState::ALL.iter().map(|s| s.name()).collect::<Vec<_>>()));
    assert_eq!(names("/properties/kind/enum"), of(&ClubKind::ALL.iter().map(|k| k.name()).collect::<Vec<_>>()));
    assert_eq!(names("/properties/hand/enum"), of(&Hand::ALL.iter().map(|h| h.name()).collect::<Vec<_>>()));
    assert_eq!(names("/properties/work/enum"), of(&WorkKind::ALL.iter().map(|w| w.name()).collect::<Vec<_>>()));
    assert_eq!(names("/$defs/step_name/enum"), of(&Step::ALL.iter().map(|s| s.name()).collect::<Vec<_>>()));
    assert_eq!(names("/$defs/caution/enum"), of(&Caution::ALL.iter().map(|c| c.name()).collect::<Vec<_>>()));
}

#[tokio::test]
async fn a_table_is_read_back_as_it_was_and_no_text_is_a_formula() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    // Names that a spreadsheet would work out.
    let order = built_club::ORDER
        .replace("W-1042", "-1042")
        .replace("Größe-7-Eisen (Łódź)", "@SUM(1+1)*cmd, \\\"quoted\\\"; semicolon")
        .replace("pitching wedge", "+1-2");
    built_club::keep(&data, &built_club::build(&order)).await;
    let (code, out, err) =
        on_data(&data, &["records", "export", "--as", "csv", "--out", &folder.path().display().to_string()]);
    assert_eq!(code, Some(0), "{out}{err}");
    let file = folder.path().join("records.csv").display().to_string();
    let rows: Vec<Vec<String>> =
        serde_json::from_str(&run(Path::new("python3"), "exports/table.py", &[&file]).unwrap()).unwrap();
    let (head, rows) = rows.split_first().unwrap();
    let (_, records, _) = on_data(&data, &["records", "export", "--as", "json"]);
    let entries: Vec<Value> =
        json_lines(&records).iter().flat_map(|record| record["entries"].as_array().unwrap().clone()).collect();
    assert_eq!(rows.len(), entries.len());
    assert!(rows.len() >= 8);
    let column = |name: &str| head.iter().position(|cell| cell == name).unwrap_or_else(|| panic!("no column {name}"));
    for (row, entry) in rows.iter().zip(&entries) {
        for name in ["value", "u", "target", "lower", "upper", "deviation"] {
            let cell = &row[column(name)];
            assert_eq!(cell.parse::<f64>().ok(), entry[name].as_f64(), "{name}: {cell}");
        }
        for name in ["characteristic", "stage", "unit", "verdict", "captured_at", "event"] {
            assert_eq!(row[column(name)], entry[name].as_str().unwrap());
        }
        // OWASP, CSV injection: a cell must not begin with one of these; numbers are numbers.
        for (name, cell) in head.iter().zip(row) {
            let is_number = cell.parse::<f64>().is_ok();
            let begins = cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠']);
            assert!(is_number || !begins, "{name}: {cell:?}");
        }
    }
    assert_eq!(rows[0][column("order")], "'-1042");
    assert_eq!(rows[0][column("name")], "'@SUM(1+1)*cmd, \"quoted\"; semicolon");
}
