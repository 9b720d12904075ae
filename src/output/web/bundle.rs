//! What a page loads, put together once: one script, one style sheet and one file of messages, each named by its content.
//!
//! The modules and style sheets stay as they are written. A script of many modules becomes one file in which each module is a function
//! that runs when the first other one imports it. So a page costs three requests instead of forty, and what a browser has it never
//! asks for again, because another content has another name. Deliberately absent: shortening; the file can be read as it was written.

use std::io::Write as _;
use std::sync::LazyLock;

use flate2::Compression;
use flate2::write::GzEncoder;

use super::assets::source;
use crate::journal::chain::sha256;
use crate::output::language::Language;

/// A file that was put together.
pub(super) struct Made {
    /// What it is asked for by in templates, such as `bench.js`.
    plain: String,
    /// What it is served as: the same with a part of the hash of its content.
    pub(super) name: String,
    /// As it is.
    pub(super) content: Vec<u8>,
    /// Compressed with gzip, best and once; empty where that failed.
    pub(super) gzip: Vec<u8>,
}

/// The style sheets of the bench display and of the pages beside it, and their sign.
const JOINED: [(&str, &[&str]); 3] = [
    ("bench.css", &["tokens.css", "bench.css", "live.css", "sheet.css", "dialogs.css", "far.css"]),
    ("page.css", &["tokens.css", "bench.css", "dialogs.css", "pages.css", "drawings.css", "setup.css", "study.css"]),
    ("mark.svg", &["mark.svg"]),
];
/// The scripts that pages name; each brings what it imports.
const SCRIPTS: [&str; 3] = ["display.js", "page.js", "setup.js"];

static MADE: LazyLock<Vec<Made>> = LazyLock::new(|| {
    let joined =
        JOINED.iter().map(|(name, parts)| ((*name).to_owned(), parts.iter().map(|part| source(part)).collect()));
    let scripts = SCRIPTS.iter().map(|name| ((*name).to_owned(), script(name)));
    let messages = Language::ALL.iter().map(|language| {
        // A text that is parsed as JSON costs a browser half of what a literal of the same size does.
        let text = serde_json::Value::String(language.for_scripts().to_string());
        let content = format!("globalThis.benchMessages = JSON.parse({text});\n");
        (format!("messages-{}.js", language.tag()), content)
    });
    joined.chain(scripts).chain(messages).map(|(plain, content)| made(plain, content)).collect()
});

fn made(plain: String, content: String) -> Made {
    let hash: String = sha256(content.as_bytes()).chars().take(16).collect();
    let name = plain.rsplit_once('.').map_or_else(|| plain.clone(), |(stem, ending)| format!("{stem}-{hash}.{ending}"));
    let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
    let gzip = encoder.write_all(content.as_bytes()).and_then(|()| encoder.finish()).unwrap_or_default();
    Made { plain, name, content: content.into_bytes(), gzip }
}

/// Puts everything together now, so that no request waits for it.
pub(super) fn prepare() {
    LazyLock::force(&MADE);
}

/// The file that is served by this name.
pub(super) fn by_name(name: &str) -> Option<&'static Made> {
    MADE.iter().find(|made| made.name == name)
}

/// What a template writes for one of the files: its name with the hash.
pub(super) fn named(plain: &str) -> &'static str {
    MADE.iter().find(|made| made.plain == plain).map_or("", |made| &made.name)
}

/// The text of one of the files, for a page that has it written into it.
pub(super) fn text(plain: &str) -> &'static str {
    let made = MADE.iter().find(|made| made.plain == plain);
    made.map_or("", |made| std::str::from_utf8(&made.content).unwrap_or_default())
}

/// What a template writes for the messages of a language.
pub(super) fn messages(language: Language) -> &'static str {
    named(&format!("messages-{}.js", language.tag()))
}

/// A script with everything that it imports, whether at once or later.
fn script(entry: &str) -> String {
    let mut names = vec![entry];
    let mut at = 0;
    while let Some(text) = names.get(at).map(|name| source(name)) {
        let imported = text.split("\"./").skip(1).filter_map(|rest| rest.split_once('"').map(|(file, _)| file));
        for file in imported.filter(|file| file.ends_with(".js")) {
            if !names.contains(&file) {
                names.push(file);
            }
        }
        at += 1;
    }
    let mut bundle = String::from(
        "// Put together from the modules named below: each runs once, when the first other one imports it.\n\
         const ran = {};\nconst bundled = (name) => (ran[name] ??= modules[name]());\nconst modules = {\n",
    );
    for name in names {
        bundle += &format!("\"{name}\": (() => {{\n{}}}),\n", function(source(name)));
    }
    bundle + &format!("}};\nbundled(\"{entry}\");\n")
}

/// A module as the body of a function that gives what the module exports.
fn function(module: &str) -> String {
    let mut exported = Vec::new();
    let mut body = String::with_capacity(module.len());
    for line in module.lines() {
        if let Some(import) = line.strip_prefix("import ") {
            body.push_str(&imported(import));
        } else if let Some(rest) = line.strip_prefix("export ") {
            let after = ["const ", "async function ", "function "].iter().find_map(|kind| rest.strip_prefix(kind));
            let name = after.and_then(|after| after.split(|c: char| !c.is_alphanumeric() && c != '_').next());
            exported.extend(name);
            body.push_str(rest);
        } else if line.contains("import(\"./") {
            body.push_str(&line.replace("import(\"./", "Promise.resolve(\"").replace(".js\")", ".js\").then(bundled)"));
        } else {
            body.push_str(line);
        }
        body.push('\n');
    }
    body + &format!("return {{ {} }};\n", exported.join(", "))
}

/// `{ a, b } from "./x.js";`, `* as x from "./x.js";` or `"./x.js";` as a statement of the function.
fn imported(import: &str) -> String {
    let (names, from) = import.rsplit_once(" from ").unwrap_or(("", import));
    let from = from.trim_matches(['"', ';', '.', '/']);
    match names.trim_start_matches("* as ") {
        "" => format!("bundled(\"{from}\");"),
        names => format!("const {names} = bundled(\"{from}\");"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_module_becomes_a_function_with_its_imports_and_exports() {
        let module = "// About.\nimport { a, b } from \"./x.js\";\nimport * as all from \"./y.js\";\nimport \"./z.js\";\n\
                      export const ONE = a(b);\nexport async function two() {\n  return import(\"./later.js\");\n}\n";
        let expected = "// About.\nconst { a, b } = bundled(\"x.js\");\nconst all = bundled(\"y.js\");\nbundled(\"z.js\");\n\
                        const ONE = a(b);\nasync function two() {\n  return Promise.resolve(\"later.js\").then(bundled);\n}\n\
                        return { ONE, two };\n";
        assert_eq!(function(module), expected);
    }

    #[test]
    fn a_bundle_holds_every_module_once_and_no_statement_of_modules() {
        for name in SCRIPTS {
            let bundle = script(name);
            assert!(bundle.lines().all(|line| !line.starts_with("import ") && !line.starts_with("export ")), "{name}");
            for part in bundle.split("bundled(\"").skip(1).filter_map(|rest| rest.split_once('"')).map(|(part, _)| part)
            {
                assert_eq!(bundle.matches(&format!("\n\"{part}\": (() => {{\n")).count(), 1, "{name}: {part}");
            }
        }
        assert!(script("display.js").contains("\"dialogs.js\": (() => {"), "what is imported later is there, too");
    }

    #[test]
    fn another_content_has_another_name_and_unpacks_to_itself() {
        let (one, other) = (made("a.js".to_owned(), "1;".to_owned()), made("a.js".to_owned(), "2;".to_owned()));
        assert!(one.name.starts_with("a-") && one.name.ends_with(".js") && one.name != other.name, "{}", one.name);
        let mut unpacked = String::new();
        std::io::Read::read_to_string(&mut flate2::read::GzDecoder::new(one.gzip.as_slice()), &mut unpacked).unwrap();
        assert_eq!(unpacked, "1;");
        assert!(by_name(named("display.js")).is_some_and(|made| made.content.starts_with(b"// Put together")));
        assert!(by_name("display.js").is_none(), "a plain name would be kept for ever");
    }
}
