//! What everything that answers shares: the property that is open, if one is, and how another is opened.

use std::path::Path;
use std::sync::{Arc, PoisonError, RwLock};

use anyhow::Result;
use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use chrono::NaiveDate;
use indicatif::ProgressBar;

use super::known::Known;
use super::server::Failure;
use super::{Desk, Opening};

/// The window: at most one property is open in it.
pub(super) struct Window {
    open: RwLock<Option<Arc<Desk>>>,
    pub known: Known,
    pub today: NaiveDate,
}

impl Window {
    pub fn new(today: NaiveDate) -> Self {
        Self { open: RwLock::default(), known: Known::of_this_person(), today }
    }

    /// The property that is open.
    pub fn desk(&self) -> Option<Arc<Desk>> {
        let open = self.open.read();
        open.unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Opens a property in the place of the one that is open, which stays open where that fails.
    ///
    /// # Errors
    /// When it cannot be read, or another window has it open.
    pub fn show(&self, root: &Path, progress: &ProgressBar) -> Result<Arc<Desk>> {
        if let Some(desk) = self.desk()
            && desk.is_of(root)
        {
            return Ok(desk);
        }
        let Opening { desk, work } = super::open(root, self.today, progress)?;
        self.known.remember(&desk);
        let before = {
            let mut open = self.open.write().unwrap_or_else(PoisonError::into_inner);
            open.replace(Arc::clone(&desk))
        };
        if let Some(before) = before {
            before.close();
        }
        work();
        Ok(desk)
    }
}

/// The header by which a page says which opening of a property it was loaded for.
const OPENING: &str = "x-opening";

/// The property that is open, for an answer that needs one.
pub(super) struct Open(pub Arc<Desk>);

impl FromRequestParts<Arc<Window>> for Open {
    type Rejection = Failure;

    async fn from_request_parts(parts: &mut Parts, window: &Arc<Window>) -> Result<Self, Failure> {
        let desk = window.desk().ok_or(Failure::NothingOpen)?;
        let meant = parts.headers.get(OPENING).and_then(|v| v.to_str().ok());
        match meant.is_none_or(|m| m == desk.opening.to_string()) {
            true => Ok(Self(desk)),
            false => Err(Failure::OtherOpen),
        }
    }
}
