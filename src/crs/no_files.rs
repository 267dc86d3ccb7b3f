//! What PROJ is given for a file system, see [`super::ffi`].

use std::ffi::{c_char, c_int, c_longlong, c_ulonglong, c_void};
use std::ptr::null_mut;

use proj_sys as sys;

/// A file interface in which nothing exists and nothing can be written.
pub(super) static NO_FILES: sys::PROJ_FILE_API = sys::PROJ_FILE_API {
    version: 1,
    open_cbk: Some(no_open),
    read_cbk: Some(no_read),
    write_cbk: Some(no_write),
    seek_cbk: Some(no_seek),
    tell_cbk: Some(no_tell),
    close_cbk: Some(no_close),
    exists_cbk: Some(no_name),
    mkdir_cbk: Some(no_name),
    unlink_cbk: Some(no_name),
    rename_cbk: Some(no_rename),
};

type Ctx = *mut sys::PJ_CONTEXT;
type Handle = *mut sys::PROJ_FILE_HANDLE;

extern "C" fn no_open(
    _: Ctx,
    _: *const c_char,
    _: sys::PROJ_OPEN_ACCESS,
    _: *mut c_void,
) -> Handle {
    null_mut()
}

extern "C" fn no_read(_: Ctx, _: Handle, _: *mut c_void, _: usize, _: *mut c_void) -> usize {
    0
}

extern "C" fn no_write(_: Ctx, _: Handle, _: *const c_void, _: usize, _: *mut c_void) -> usize {
    0
}

extern "C" fn no_seek(_: Ctx, _: Handle, _: c_longlong, _: c_int, _: *mut c_void) -> c_int {
    0
}

extern "C" fn no_tell(_: Ctx, _: Handle, _: *mut c_void) -> c_ulonglong {
    0
}

extern "C" fn no_close(_: Ctx, _: Handle, _: *mut c_void) {}

extern "C" fn no_name(_: Ctx, _: *const c_char, _: *mut c_void) -> c_int {
    0
}

extern "C" fn no_rename(_: Ctx, _: *const c_char, _: *const c_char, _: *mut c_void) -> c_int {
    0
}
