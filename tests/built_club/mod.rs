//! A data folder with an order built on the bench's own core: parts weighed, a club on the beam and in the gauge, a length
//! typed, steps done, a reading taken back. Everything in it can be proved.
#![allow(dead_code, reason = "each program uses its part")]
#![expect(clippy::unwrap_used, reason = "a helper of a test fails the test")]

use std::path::Path;

use benchscribe::journal::store::Journal;
use benchscribe::work_order::event::Event;
use serde_json::json;

use crate::desk_bench::{CONFIG, DeskBench, Stored};

/// Two clubs; the second is not begun. Names as people have them.
pub(crate) const ORDER: &str = r#"
order = "W-1042"
player = "Jürgen Ødegård 王小明"
due = "today, before the evening ferry"

[[club]]
name = "Größe-7-Eisen (Łódź)"
kind = "iron"
hand = "left"
head_mass = "256 g ± 3 g"
shaft_mass = "115 g ± 3 g"
grip_mass = "50 g ± 2.5 g"
length = "38 in ± 1/16 in"
swing_weight = "D2 ± 0.5"
total_mass = "≤ 430 g"
loft = "27 deg ± 0.5 deg"
lie = "61.5 deg ± 0.5 deg"

[[club]]
name = "pitching wedge"
kind = "wedge"
head_mass = "286 g ± 3 g"
length = "35 3/4 in ± 1/16 in"
"#;

/// Masses in grams on the supports of the bench's beam (at 100 mm and 840 mm), as counts of its cells.
fn on_beam(mass_g: f64, balance_mm: f64) -> [f64; 2] {
    let right = mass_g * (balance_mm - 100.0) / 740.0;
    [8388.0 + 1000.0 * (mass_g - right), -4210.0 + 1000.0 * right]
}

/// Builds the first club of an order; everything that would be stored.
pub(crate) fn build(order: &str) -> Stored {
    let mut bench = DeskBench::new(CONFIG);
    let mut stored = bench.begin();
    let empty = [8388.0, -4210.0];
    let command = |bench: &mut DeskBench, json: serde_json::Value, stored: &mut Stored| {
        bench.command(json.clone(), stored).unwrap_or_else(|reason| panic!("{json}: {reason}"));
    };
    command(&mut bench, json!({"command": "operator", "operator": "Zoë K7"}), &mut stored);
    command(&mut bench, json!({"command": "import_order", "text": order}), &mut stored);
    let number = stored.of("order_imported")[0].change.bearing().order.unwrap().number.clone();
    command(&mut bench, json!({"command": "open_order", "order": number}), &mut stored);
    for mass in [257.42, 256.38, 116.2, 50.3] {
        bench.weigh("scale", [mass, 0.0], [0.0, 0.0], &mut stored);
        if mass > 257.0 {
            // The wrong head: it is taken back.
            command(&mut bench, json!({"command": "void_last", "why": "another head"}), &mut stored);
        }
    }
    command(&mut bench, json!({"command": "step_done", "step": "bond"}), &mut stored);
    command(&mut bench, json!({"command": "step_done", "step": "cut"}), &mut stored);
    command(&mut bench, json!({"command": "step_done", "step": "grip"}), &mut stored);
    // Points over D2: 423.6 g at 766 mm about 14 in (355.6 mm).
    bench.weigh("beam", on_beam(423.6, 766.0), empty, &mut stored);
    command(&mut bench, json!({"command": "enter", "characteristic": "length", "quantity": "38 1/16 in"}), &mut stored);
    command(&mut bench, json!({"command": "step_done", "step": "adjust"}), &mut stored);
    bench.lay_pairs("gauge", &[[61.2, 27.3]; 90], &mut stored);
    stored
}

/// Puts events with their evidence into a new data folder.
pub(crate) async fn keep(folder: &Path, stored: &Stored) {
    std::fs::create_dir_all(folder).unwrap();
    let mut journal = Journal::open(folder, "bench-1", 7).await.unwrap();
    let events: &[Event] = &stored.events;
    journal.append(events, &stored.evidence).await.unwrap();
    journal.close().await;
}
