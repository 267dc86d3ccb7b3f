//! Links the fuzzer's own main program, which comes with clang, if `ASLAID_FUZZER` names it.

fn main() {
    println!("cargo:rerun-if-env-changed=ASLAID_FUZZER");
    if let Some(library) = std::env::var_os("ASLAID_FUZZER") {
        println!("cargo:rustc-link-arg-bins={}", library.display());
        println!("cargo:rustc-link-arg-bins=-lstdc++");
    }
}
