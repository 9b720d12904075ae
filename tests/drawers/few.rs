//! Two kinds of weight for one place, and an order that wants some. Invented.

/// The drawers.
pub(crate) const KIT: &str = r#"
kit = "test"
[[place]]
name = "head"
label = "at the head"
before_end = "0 mm"
most_mass = "6 g"
most_pieces = 3
[[weight]]
name = "w-2"
mass = "2 g"
stock = 3
low = 2
places = ["head"]
[[weight]]
name = "w-0.5"
mass = "0.5 g"
stock = 4
places = ["head"]
"#;
/// The order.
pub(crate) const ORDER: &str =
    "order = \"W-1\"\nplayer = \"P-17\"\n[[club]]\nname = \"driver\"\nkind = \"driver\"\nswing_weight = \"D3 ± 0.1\"\n";
