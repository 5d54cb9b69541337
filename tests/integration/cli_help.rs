//! Completions and manual pages: they know every command and option that `--help` knows.

use assert_cmd::Command;

fn printed(arguments: &[&str]) -> String {
    let output = Command::cargo_bin("downbeat").unwrap().args(arguments).output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

/// The commands that `--help` lists.
fn commands() -> Vec<String> {
    let help = printed(&["--help"]);
    let listed = help.split("Commands:\n").nth(1).unwrap().split("\n\n").next().unwrap();
    let named = listed.lines().filter(|line| line.starts_with("  ") && !line.starts_with("   "));
    let names: Vec<String> =
        named.filter_map(|line| line.split_whitespace().next().map(str::to_owned)).collect();
    assert!(names.len() >= 6 && names.contains(&"check".to_owned()), "{names:?}");
    names
}

#[test]
fn every_shell_is_told_every_command() {
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let script = printed(&["completions", shell]);
        for command in commands() {
            assert!(script.contains(&command), "{shell}: {command}");
        }
        assert!(script.contains("fail-on"), "{shell}");
    }
    let unknown = Command::cargo_bin("downbeat").unwrap().args(["completions", "abacus"]).output().unwrap();
    assert_eq!(unknown.status.code(), Some(2));
}

#[test]
fn the_manual_has_a_page_for_the_program_and_for_every_command() {
    let program = printed(&["man"]);
    assert!(program.contains(".TH downbeat 1"), "{program}");
    for command in commands().into_iter().filter(|command| command != "help") {
        let listed = program.contains(&command.replace('-', "\\-"));
        assert!(listed, "{command}");
        let page = printed(&["man", &command]);
        assert!(page.contains(&format!(".TH downbeat-{command} 1")), "{page}");
    }
    let check = printed(&["man", "check"]);
    assert!(check.contains("fail\\-on") && check.contains(".SH EXIT STATUS\n0 nothing"), "{check}");
    assert!(check.contains("<\\fIFILE\\fR>..."), "{check}");
    let explain = printed(&["man", "explain"]);
    assert!(!explain.contains(">..."), "{explain}");
    let unknown = Command::cargo_bin("downbeat").unwrap().args(["man", "chekc"]).output().unwrap();
    assert_eq!(unknown.status.code(), Some(2));
    assert!(String::from_utf8(unknown.stderr).unwrap().contains("check"));
}
