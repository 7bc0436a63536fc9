//! Prints the fingerprints of the engine on this machine.

fn main() -> Result<(), Box<dyn std::error::Error>> {
    print!("{}", rowroom_browser::fingerprints()?);
    Ok(())
}
