//! The page's desk as a WebAssembly module: a request is written into the room that `room` gives, `answer` answers it, and what it found
//! lies where it says, `answer_length` bytes of it.

use std::cell::RefCell;

use rowroom::page::Desk;

#[link(wasm_import_module = "page")]
unsafe extern "C" {
    /// Tells how much of the work is done, 0 to 1.
    safe fn progress(done: f64);
}

fn told(done: f64) {
    progress(done);
}

struct Post {
    desk: Desk,
    request: Vec<u8>,
    answer: Vec<u8>,
}

thread_local! {
    static POST: RefCell<Post> = RefCell::new(Post {
        desk: Desk::new(told),
        request: Vec::new(),
        answer: Vec::new(),
    });
}

/// Room for a request of so many bytes.
#[unsafe(no_mangle)]
pub extern "C" fn room(length: usize) -> *mut u8 {
    POST.with_borrow_mut(|post| {
        post.request = vec![0; length];
        post.request.as_mut_ptr()
    })
}

/// Answers the request that lies in its room, and says where the answer lies.
#[unsafe(no_mangle)]
pub extern "C" fn answer() -> *const u8 {
    POST.with_borrow_mut(|post| {
        // The old one goes first: two large ones need not lie side by side.
        post.answer = Vec::new();
        let request = core::mem::take(&mut post.request);
        post.answer = post.desk.answer(&request);
        post.answer.as_ptr()
    })
}

/// Length of the answer in bytes.
#[unsafe(no_mangle)]
pub extern "C" fn answer_length() -> usize {
    POST.with_borrow(|post| post.answer.len())
}
