//! Session descriptions in answers to a question for them: RTSP's DESCRIBE (RFC 2326 section 10.2, RFC 7826 section
//! 13.2) and HTTP (RFC 9112), from memory. Only answers that one TCP segment holds whole are read; nothing is put together.

mod answer;

pub use answer::{description, is_answer};
