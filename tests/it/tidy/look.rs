//! Reads one source file into the facts that the rules judge. It judges nothing itself.

use proc_macro2::{Span, TokenStream, TokenTree};
use std::ops::RangeInclusive;
use syn::punctuated::Punctuated;
use syn::spanned::Spanned;
use syn::visit::{self, Visit};
use syn::{Attribute, Expr, Ident, Meta, Pat, Token, UseTree};

/// Calls that panic.
const PANICS: [&str; 5] = ["unwrap", "expect", "unwrap_err", "expect_err", "unwrap_unchecked"];
/// Lints that may be eased for one statement or function only; the last two are groups that hold them.
const HELD: [&str; 5] = ["unwrap_used", "expect_used", "wildcard_enum_match_arm", "restriction", "warnings"];

/// A path as written, grouped imports spelled out.
pub(super) struct Named {
    pub(super) line: usize,
    /// How many modules its place lies below the root of the crate.
    pub(super) depth: usize,
    /// A whole import; else a path within code.
    pub(super) import: bool,
    pub(super) parts: Vec<String>,
}

/// A reasoned easing of lints: where it stands, and the lines it is for.
pub(super) struct Proof {
    pub(super) line: usize,
    pub(super) lints: Vec<String>,
    pub(super) covers: RangeInclusive<usize>,
}

/// What stands in one file outside its test modules; lines from 1.
#[derive(Default)]
pub(super) struct Facts {
    pub(super) paths: Vec<Named>,
    /// First line and length of each function.
    pub(super) functions: Vec<(usize, usize)>,
    pub(super) panics: Vec<(usize, String)>,
    /// Attributes that name a held lint.
    pub(super) easings: Vec<usize>,
    pub(super) proofs: Vec<Proof>,
    /// A catch-all arm, and the enums that the arms beside it name.
    pub(super) catch_alls: Vec<(usize, Vec<String>)>,
    pub(super) enums: Vec<String>,
    /// What would lead to code that is not read here.
    pub(super) hidden: Vec<(usize, &'static str)>,
    pub(super) test_lines: usize,
    /// The first line is a module comment.
    pub(super) has_head: bool,
}

/// Reads `text`, whose own module lies `depth` below the root of the crate.
pub(super) fn look(text: &str, depth: usize) -> syn::Result<Facts> {
    let file = syn::parse_file(text)?;
    let mut look = Look { depth, facts: Facts::default() };
    look.facts.has_head = text.lines().next().is_some_and(|l| l.starts_with("//! ") && l.len() > 4);
    look.visit_file(&file);
    Ok(look.facts)
}

struct Look {
    depth: usize,
    facts: Facts,
}

fn line(span: Span) -> usize {
    span.start().line
}

fn lines(node: &impl Spanned) -> RangeInclusive<usize> {
    let span = node.span();
    span.start().line..=span.end().line
}

fn is_test(attrs: &[Attribute]) -> bool {
    let test = |a: &Attribute| a.parse_args::<Ident>().is_ok_and(|what| what == "test");
    attrs.iter().any(|a| a.path().is_ident("cfg") && test(a))
}

/// Whether `word` stands anywhere in the tokens.
fn has_word(tokens: TokenStream, word: &str) -> bool {
    tokens.into_iter().any(|token| match token {
        TokenTree::Ident(ident) => ident == word,
        TokenTree::Group(group) => has_word(group.stream(), word),
        TokenTree::Punct(_) | TokenTree::Literal(_) => false,
    })
}

/// How many words a string has; `None` for anything else.
fn words(value: &Expr) -> Option<usize> {
    let Expr::Lit(syn::ExprLit { lit: syn::Lit::Str(text), .. }) = value else { return None };
    Some(text.value().split_whitespace().count())
}

fn names_held_lint(attr: &Attribute) -> bool {
    attr.meta.require_list().is_ok_and(|list| HELD.iter().any(|lint| has_word(list.tokens.clone(), lint)))
}

impl Look {
    fn name(&mut self, at: Span, import: bool, parts: Vec<String>) {
        self.facts.paths.push(Named { line: line(at), depth: self.depth, import, parts });
    }

    fn function(&mut self, sig: &syn::Signature, body: &syn::Block) {
        let (first, last) = (line(sig.span()), body.span().end().line);
        self.facts.functions.push((first, last - first + 1));
    }

    /// Notes the reasoned easings on a node that is small enough to prove something about.
    fn proofs(&mut self, attrs: &[Attribute], node: &impl Spanned) {
        let eases = |a: &&Attribute| a.path().is_ident("allow") || a.path().is_ident("expect");
        for attr in attrs.iter().filter(eases) {
            let Ok(inside) = attr.parse_args_with(Punctuated::<Meta, Token![,]>::parse_terminated) else {
                continue;
            };
            let mut reasoned = false;
            let mut lints = Vec::new();
            for meta in inside {
                match meta {
                    Meta::Path(path) => lints.extend(path.segments.last().map(|s| s.ident.to_string())),
                    Meta::NameValue(reason) => reasoned |= !matches!(words(&reason.value), None | Some(0)),
                    Meta::List(_) => {}
                }
            }
            if reasoned {
                self.facts.proofs.push(Proof { line: line(attr.span()), lints, covers: lines(node) });
            }
        }
    }

    fn imports(&mut self, tree: &UseTree, mut before: Vec<String>) {
        match tree {
            UseTree::Group(group) => group.items.iter().for_each(|t| self.imports(t, before.clone())),
            UseTree::Path(path) => {
                before.push(path.ident.to_string());
                self.imports(&path.tree, before);
            }
            UseTree::Name(syn::UseName { ident }) | UseTree::Rename(syn::UseRename { ident, .. }) => {
                if ident != "self" || before.is_empty() {
                    before.push(ident.to_string());
                }
                self.name(ident.span(), true, before);
            }
            UseTree::Glob(glob) => {
                before.push("*".to_owned());
                self.name(glob.span(), true, before);
            }
        }
    }

    /// Paths, macros and panicking calls in tokens that are not parsed: the inside of macros and attributes.
    fn tokens(&mut self, tokens: TokenStream, before: &[String]) {
        let tokens: Vec<TokenTree> = tokens.into_iter().collect();
        let mark = |i: usize, c: char| matches!(tokens.get(i), Some(TokenTree::Punct(p)) if p.as_char() == c);
        let mut i = 0;
        while let Some(token) = tokens.get(i) {
            i += 1;
            match token {
                TokenTree::Group(group) => self.tokens(group.stream(), &[]),
                TokenTree::Ident(first) => {
                    let after_dot = i >= 2 && mark(i - 2, '.') && !(i >= 3 && mark(i - 3, '.'));
                    let mut parts = [before, &[first.to_string()]].concat();
                    while mark(i, ':') && mark(i + 1, ':') {
                        match tokens.get(i + 2) {
                            Some(TokenTree::Ident(next)) => parts.push(next.to_string()),
                            Some(TokenTree::Punct(star)) if star.as_char() == '*' => parts.push("*".into()),
                            Some(TokenTree::Group(group)) => self.tokens(group.stream(), &parts),
                            _ => break,
                        }
                        i += 3;
                    }
                    self.word(first.span(), after_dot, mark(i, '!'), parts);
                }
                TokenTree::Punct(_) | TokenTree::Literal(_) => {}
            }
        }
    }

    /// Paths in the strings of an attribute, as in `with = "crate::a"`.
    fn strings(&mut self, tokens: TokenStream) {
        for token in tokens {
            match token {
                TokenTree::Group(group) => self.strings(group.stream()),
                TokenTree::Literal(literal) => {
                    if let syn::Lit::Str(text) = syn::Lit::new(literal)
                        && let Ok(path) = text.parse::<syn::Path>()
                    {
                        self.visit_path(&path);
                    }
                }
                TokenTree::Ident(_) | TokenTree::Punct(_) => {}
            }
        }
    }

    /// One path, or the name behind a dot.
    fn word(&mut self, at: Span, after_dot: bool, is_macro: bool, mut parts: Vec<String>) {
        self.panics(at, after_dot, &parts);
        if is_macro {
            parts.last_mut().into_iter().for_each(|last| last.push('!'));
        }
        // Behind a dot only `.await` matters: fields and methods are not paths.
        if !after_dot || parts == ["await"] {
            self.name(at, false, parts);
        }
    }

    fn panics(&mut self, at: Span, after_dot: bool, parts: &[String]) {
        let last = parts.last().filter(|last| PANICS.contains(&last.as_str()));
        if let Some(last) = last.filter(|_| after_dot || parts.len() > 1) {
            self.facts.panics.push((line(at), last.clone()));
        }
    }
}

/// The enums that a pattern names, as far as its shape tells.
#[expect(
    clippy::wildcard_enum_match_arm,
    reason = "the parser's enum, open to more; no other shape counts here"
)]
fn enums_named(pat: &Pat, found: &mut Vec<String>) {
    let mut name = |path: &syn::Path| {
        found.extend(path.segments.iter().rev().nth(1).map(|s| s.ident.to_string()));
    };
    match pat {
        Pat::Path(p) => name(&p.path),
        Pat::Struct(p) => name(&p.path),
        Pat::TupleStruct(p) => {
            name(&p.path);
            p.elems.iter().for_each(|p| enums_named(p, found));
        }
        Pat::Or(p) => p.cases.iter().for_each(|p| enums_named(p, found)),
        Pat::Tuple(p) => p.elems.iter().for_each(|p| enums_named(p, found)),
        Pat::Slice(p) => p.elems.iter().for_each(|p| enums_named(p, found)),
        Pat::Paren(p) => enums_named(&p.pat, found),
        Pat::Reference(p) => enums_named(&p.pat, found),
        Pat::Guard(p) => enums_named(&p.pat, found),
        Pat::Ident(p) => p.subpat.iter().for_each(|(_, p)| enums_named(p, found)),
        _ => {}
    }
}

/// Takes whatever comes: `_`, a plain name, or a tuple of such.
#[expect(
    clippy::wildcard_enum_match_arm,
    reason = "the parser's enum, open to more; no other shape counts here"
)]
fn takes_all(pat: &Pat) -> bool {
    match pat {
        Pat::Wild(_) | Pat::Rest(_) => true,
        Pat::Ident(p) => p.subpat.is_none() && p.ident.to_string().starts_with(char::is_lowercase),
        Pat::Tuple(p) => p.elems.iter().all(takes_all),
        Pat::Paren(p) => takes_all(&p.pat),
        Pat::Reference(p) => takes_all(&p.pat),
        _ => false,
    }
}

impl<'ast> Visit<'ast> for Look {
    fn visit_visibility(&mut self, _: &'ast syn::Visibility) {
        // `pub(crate)` imports nothing.
    }

    fn visit_attribute(&mut self, attr: &'ast Attribute) {
        let at = line(attr.span());
        if names_held_lint(attr) {
            self.facts.easings.push(at);
        }
        if attr.path().is_ident("path") {
            self.facts.hidden.push((at, "a module with a path of its own"));
        }
        if let syn::Meta::List(list) = &attr.meta {
            self.tokens(list.tokens.clone(), &[]);
            self.strings(list.tokens.clone());
        }
        visit::visit_attribute(self, attr);
    }

    fn visit_item_mod(&mut self, module: &'ast syn::ItemMod) {
        if is_test(&module.attrs) {
            self.facts.test_lines += lines(module).count();
            return;
        }
        if module.ident == "tests" {
            self.facts.hidden.push((line(module.span()), "`mod tests` without #[cfg(test)]"));
        }
        self.depth += 1;
        visit::visit_item_mod(self, module);
        self.depth -= 1;
    }

    fn visit_item_use(&mut self, item: &'ast syn::ItemUse) {
        self.imports(&item.tree, Vec::new());
    }

    fn visit_item_extern_crate(&mut self, item: &'ast syn::ItemExternCrate) {
        let name = if item.ident == "self" { "crate".to_owned() } else { item.ident.to_string() };
        self.name(item.ident.span(), true, vec![name]);
    }

    fn visit_path(&mut self, path: &'ast syn::Path) {
        let parts = path.segments.iter().map(|s| s.ident.to_string()).collect();
        self.word(path.span(), false, false, parts);
        visit::visit_path(self, path);
    }

    fn visit_macro(&mut self, call: &'ast syn::Macro) {
        let parts = call.path.segments.iter().map(|s| s.ident.to_string()).collect();
        if call.path.is_ident("include") {
            self.facts.hidden.push((line(call.span()), "code that is included"));
        }
        self.word(call.path.span(), false, true, parts);
        self.tokens(call.tokens.clone(), &[]);
    }

    fn visit_item_enum(&mut self, item: &'ast syn::ItemEnum) {
        self.facts.enums.push(item.ident.to_string());
        visit::visit_item_enum(self, item);
    }

    fn visit_item_fn(&mut self, item: &'ast syn::ItemFn) {
        self.proofs(&item.attrs, item);
        self.function(&item.sig, &item.block);
        visit::visit_item_fn(self, item);
    }

    fn visit_impl_item_fn(&mut self, item: &'ast syn::ImplItemFn) {
        self.proofs(&item.attrs, item);
        self.function(&item.sig, &item.block);
        visit::visit_impl_item_fn(self, item);
    }

    fn visit_trait_item_fn(&mut self, item: &'ast syn::TraitItemFn) {
        self.proofs(&item.attrs, item);
        if let Some(body) = &item.default {
            self.function(&item.sig, body);
        }
        visit::visit_trait_item_fn(self, item);
    }

    fn visit_item_static(&mut self, item: &'ast syn::ItemStatic) {
        self.proofs(&item.attrs, item);
        visit::visit_item_static(self, item);
    }

    fn visit_item_const(&mut self, item: &'ast syn::ItemConst) {
        self.proofs(&item.attrs, item);
        visit::visit_item_const(self, item);
    }

    fn visit_local(&mut self, item: &'ast syn::Local) {
        self.proofs(&item.attrs, item);
        visit::visit_local(self, item);
    }

    fn visit_expr_method_call(&mut self, call: &'ast syn::ExprMethodCall) {
        self.proofs(&call.attrs, call);
        self.panics(call.method.span(), true, &[call.method.to_string()]);
        visit::visit_expr_method_call(self, call);
    }

    fn visit_expr_match(&mut self, item: &'ast syn::ExprMatch) {
        let mut named = Vec::new();
        item.arms.iter().for_each(|arm| enums_named(&arm.pat, &mut named));
        for arm in item.arms.iter().filter(|arm| takes_all(&arm.pat)) {
            self.facts.catch_alls.push((line(arm.span()), named.clone()));
        }
        visit::visit_expr_match(self, item);
    }

    fn visit_expr(&mut self, expr: &'ast Expr) {
        if matches!(expr, Expr::Async(_) | Expr::Await(_)) {
            self.name(expr.span(), false, vec!["async".to_owned()]);
        }
        visit::visit_expr(self, expr);
    }

    fn visit_expr_closure(&mut self, closure: &'ast syn::ExprClosure) {
        if closure.asyncness.is_some() {
            self.name(closure.span(), false, vec!["async".to_owned()]);
        }
        visit::visit_expr_closure(self, closure);
    }

    fn visit_signature(&mut self, sig: &'ast syn::Signature) {
        if sig.asyncness.is_some() {
            self.name(sig.span(), false, vec!["async".to_owned()]);
        }
        visit::visit_signature(self, sig);
    }
}
