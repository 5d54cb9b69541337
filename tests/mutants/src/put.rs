//! Puts the mistakes into a file: beside each expression that has one stands what it was, chosen by number.
//!
//! Where a mistake is on, all within it is as it was written: one at a time is looked at. An operator is exchanged with its two
//! sides left as they are, also where the other one binds otherwise.

use std::collections::HashMap;

use proc_macro2::Span;
use quote::quote;
use syn::Arm;
use syn::Attribute;
use syn::BinOp;
use syn::Block;
use syn::Expr;
use syn::ExprBinary;
use syn::ExprBlock;
use syn::ExprIf;
use syn::ExprParen;
use syn::ImplItemFn;
use syn::ItemFn;
use syn::ItemMod;
use syn::Pat;
use syn::Stmt;
use syn::TraitItemFn;
use syn::parse_quote;
use syn::spanned::Spanned;
use syn::visit_mut;
use syn::visit_mut::VisitMut;

use crate::list::Listed;
use crate::list::place;

type Start = (usize, usize);

pub(crate) struct Put<'a> {
    waiting: HashMap<(&'a str, Start), Vec<(usize, &'a Listed)>>,
}

impl<'a> Put<'a> {
    pub(crate) fn new(mistakes: Vec<(usize, &'a Listed)>) -> Self {
        let mut waiting: HashMap<_, Vec<_>> = HashMap::new();
        for (number, listed) in mistakes {
            waiting
                .entry((&*listed.genre, listed.span.start.of_parser()))
                .or_default()
                .push((number, listed));
        }
        Self { waiting }
    }

    /// Those for which no place was found.
    pub(crate) fn left(&self) -> Vec<usize> {
        let mut left: Vec<_> = self.waiting.values().flatten().map(|(number, _)| *number).collect();
        left.sort_unstable();
        left
    }

    fn take(&mut self, genre: &'a str, at: Span) -> Vec<(usize, &'a Listed)> {
        self.waiting.remove(&(genre, place(at.start()))).unwrap_or_default()
    }

    fn body(&mut self, block: &mut Block) {
        let open = block.brace_token.span.open().end();
        let first = block.stmts.first().map_or(open, |statement| statement.span().start());
        let mut values = Vec::new();
        for start in [place(open), place(first)] {
            values.extend(self.waiting.remove(&("FnValue", start)).unwrap_or_default());
        }
        visit_mut::visit_block_mut(self, block);
        for (number, listed) in values {
            match syn::parse_str::<Expr>(&listed.replacement) {
                Ok(value) => {
                    block.stmts.insert(0, parse_quote!(if crate::mutation::is(#number) { return #value; }));
                }
                Err(_) => eprintln!("number {number}: not an expression: {}", listed.replacement),
            }
        }
    }

    /// What an expression would be with each of its mistakes.
    fn mistaken(&mut self, expression: &Expr) -> Vec<(usize, Expr)> {
        match expression {
            Expr::Binary(binary) => self
                .take("BinaryOperator", binary.op.span())
                .into_iter()
                .filter_map(|(number, listed)| {
                    if has_let(expression) {
                        return None;
                    }
                    let op: BinOp = syn::parse_str(&listed.replacement).ok()?;
                    let (left, right) = (side(&binary.left), side(&binary.right));
                    let mistaken =
                        ExprBinary { attrs: Vec::new(), left: Box::new(left), op, right: Box::new(right) };
                    Some((number, Expr::Binary(mistaken)))
                })
                .collect(),
            Expr::Unary(unary) => self
                .take("UnaryOperator", unary.op.span())
                .into_iter()
                .map(|(number, _)| (number, (*unary.expr).clone()))
                .collect(),
            Expr::Struct(literal) => {
                let mut all = Vec::new();
                for (index, field) in literal.fields.iter().enumerate() {
                    for (number, _) in self.take("StructField", field.span()) {
                        let mut without = literal.clone();
                        without.fields = literal
                            .fields
                            .iter()
                            .enumerate()
                            .filter(|(other, _)| *other != index)
                            .map(|(_, field)| field.clone())
                            .collect();
                        all.push((number, Expr::Struct(without)));
                    }
                }
                all
            }
            _ => Vec::new(),
        }
    }
}

fn side(of: &Expr) -> Expr {
    match of {
        Expr::Binary(_) | Expr::Cast(_) | Expr::Unary(_) | Expr::Closure(_) | Expr::Range(_) => {
            parenthesised(of.clone())
        }
        _ => of.clone(),
    }
}

/// The one where the mistake is on, the other else. Built by hand, as not all that can be written can be read anew from its parts.
fn choice(number: usize, mistaken: Expr, otherwise: Expr) -> Expr {
    let mut choice: ExprIf = parse_quote!(if crate::mutation::is(#number) {} else {});
    choice.then_branch.stmts.push(Stmt::Expr(mistaken, None));
    if let Some((_, branch)) = &mut choice.else_branch {
        let mut block: ExprBlock = parse_quote!({});
        block.block.stmts.push(Stmt::Expr(otherwise, None));
        **branch = Expr::Block(block);
    }
    parenthesised(Expr::If(choice))
}

fn parenthesised(expression: Expr) -> Expr {
    let mut within: ExprParen = parse_quote!((()));
    *within.expr = expression;
    Expr::Paren(within)
}

/// Whether a chain of `&&` binds names, and so has no other form.
fn has_let(expression: &Expr) -> bool {
    match expression {
        Expr::Let(_) => true,
        Expr::Binary(binary) => has_let(&binary.left) || has_let(&binary.right),
        _ => false,
    }
}

/// Whether what has these is there in tests only.
fn is_test(attributes: &[Attribute]) -> bool {
    attributes.iter().any(|attribute| {
        let text = quote!(#attribute).to_string();
        text.contains("cfg (test)") || text == "# [test]"
    })
}

impl VisitMut for Put<'_> {
    fn visit_item_mod_mut(&mut self, module: &mut ItemMod) {
        if !is_test(&module.attrs) {
            visit_mut::visit_item_mod_mut(self, module);
        }
    }

    fn visit_item_fn_mut(&mut self, function: &mut ItemFn) {
        if !is_test(&function.attrs) {
            self.body(&mut function.block);
        }
    }

    fn visit_impl_item_fn_mut(&mut self, function: &mut ImplItemFn) {
        if !is_test(&function.attrs) {
            self.body(&mut function.block);
        }
    }

    fn visit_trait_item_fn_mut(&mut self, function: &mut TraitItemFn) {
        if let Some(block) = &mut function.default {
            self.body(block);
        }
    }

    // What is worked out while the crate is built cannot be chosen when it runs.
    fn visit_item_const_mut(&mut self, _: &mut syn::ItemConst) {}

    fn visit_item_static_mut(&mut self, _: &mut syn::ItemStatic) {}

    fn visit_impl_item_const_mut(&mut self, _: &mut syn::ImplItemConst) {}

    fn visit_trait_item_const_mut(&mut self, _: &mut syn::TraitItemConst) {}

    fn visit_type_mut(&mut self, _: &mut syn::Type) {}

    fn visit_pat_mut(&mut self, _: &mut syn::Pat) {}

    fn visit_arm_mut(&mut self, arm: &mut Arm) {
        let removed = self.take("MatchArm", arm.span());
        let guards =
            arm.guard.as_ref().map(|(_, guard)| self.take("MatchArmGuard", guard.span())).unwrap_or_default();
        visit_mut::visit_arm_mut(self, arm);
        for (number, listed) in guards {
            let Ok(always) = syn::parse_str::<Expr>(&listed.replacement) else { continue };
            if let Some((_, guard)) = &mut arm.guard {
                **guard = choice(number, always, (**guard).clone());
            }
        }
        for (number, _) in removed {
            let rest: Expr = match &arm.guard {
                Some((_, guard)) => (**guard).clone(),
                None => parse_quote!(true),
            };
            let chosen = choice(number, parse_quote!(false), rest);
            arm.guard = Some((syn::token::If::default(), Box::new(chosen)));
        }
    }

    fn visit_expr_mut(&mut self, expression: &mut Expr) {
        if let Expr::Repeat(repeat) = expression {
            self.visit_expr_mut(&mut repeat.expr);
            return;
        }
        if let Expr::Match(cases) = &*expression {
            // An arm with a condition does not count for completeness.
            let is_complete = |arm: &Arm| matches!(arm.pat, Pat::Wild(_)) && arm.guard.is_none();
            if !cases.arms.iter().any(is_complete) {
                for arm in &cases.arms {
                    self.take("MatchArm", arm.span());
                }
            }
        }
        let mistaken = self.mistaken(expression);
        visit_mut::visit_expr_mut(self, expression);
        for (number, mistaken) in mistaken.into_iter().rev() {
            let otherwise = std::mem::replace(expression, parse_quote!(()));
            *expression = choice(number, mistaken, otherwise);
        }
    }
}
