//! The pages as a person sees them, in headless Chromium.

#[path = "support/webdriver.rs"]
mod webdriver;
