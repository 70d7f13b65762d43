//! Showing a result: text, JSON, picture, page.
