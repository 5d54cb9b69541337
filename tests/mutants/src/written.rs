//! Where each mistake stands in a written file, so that what does not compile is known by the place of the error.

use proc_macro2::Span;
use serde::Serialize;
use syn::Expr;
use syn::ExprIf;
use syn::spanned::Spanned;
use syn::visit;
use syn::visit::Visit;

use crate::list::place;

/// Lines from 1, columns from 0.
#[derive(Debug, Serialize)]
pub(crate) struct Stands {
    file: String,
    number: usize,
    /// What is done where the mistake is on.
    mistaken: [(usize, usize); 2],
    /// That and what is done else.
    choice: [(usize, usize); 2],
}

struct Places<'a> {
    file: &'a str,
    found: Vec<Stands>,
}

fn ends(span: Span) -> [(usize, usize); 2] {
    [place(span.start()), place(span.end())]
}

/// The number in `crate::mutation::is(N)`, which may stand in front of a guard.
fn number(condition: &Expr) -> Option<usize> {
    let Expr::Call(call) = condition else { return None };
    let Expr::Path(function) = &*call.func else { return None };
    let names: Vec<_> = function.path.segments.iter().map(|segment| segment.ident.to_string()).collect();
    if names != ["crate", "mutation", "is"] {
        return None;
    }
    let Some(Expr::Lit(literal)) = call.args.first() else { return None };
    let syn::Lit::Int(integer) = &literal.lit else { return None };
    integer.base10_parse().ok()
}

impl<'ast> Visit<'ast> for Places<'_> {
    fn visit_expr_if(&mut self, choice: &'ast ExprIf) {
        if let Some(number) = number(&choice.cond) {
            self.found.push(Stands {
                file: self.file.to_owned(),
                number,
                mistaken: ends(choice.then_branch.span()),
                choice: ends(choice.span()),
            });
        }
        visit::visit_expr_if(self, choice);
    }
}

pub(crate) fn places(file: &str, text: &str) -> syn::Result<Vec<Stands>> {
    let mut places = Places { file, found: Vec::new() };
    places.visit_file(&syn::parse_file(text)?);
    Ok(places.found)
}
