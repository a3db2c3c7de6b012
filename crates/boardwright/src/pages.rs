//! Serving the pages: binds, says where, serves until Ctrl-C.

use crate::args::Address;
use crate::printer::Printer;
use crate::problem::stop;
use crate::sheet::{Sheet, Voice, say};
use serde::Serialize;
use std::net::{IpAddr, SocketAddr};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use workshop::{ErrorKind, Workshop};

/// Ports tried above the one asked for.
const MORE_PORTS: u16 = 20;
/// Requests under way are waited for no longer than this.
const PATIENCE: Duration = Duration::from_secs(3);

/// Where the pages are.
#[derive(Debug, Serialize)]
struct Served {
    address: String,
}

/// Serves the pages until Ctrl-C.
pub(crate) fn serve(
    workshop: Arc<Workshop>,
    address: &Address,
    printer: &Printer,
) -> anyhow::Result<()> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()?;
    runtime.block_on(async {
        let mut asked = std::pin::pin!(tokio::signal::ctrl_c());
        // listens for Ctrl-C from here on, before anybody can know the address
        tokio::select! {
            biased;
            early = &mut asked => return Ok(early?),
            () = std::future::ready(()) => {}
        }
        let listener = bind(address.bind, address.port).await?;
        let served = Served {
            address: url(listener.local_addr()?),
        };
        printer.answer("serve", &served, || {
            let mut sheet = Sheet::default();
            sheet.text(
                say(Voice::Plain, "The pages are at ").say(Voice::Strong, served.address.as_str()),
            );
            sheet
        })?;
        if !address.bind.is_loopback() {
            printer.aside(say(
                Voice::Doubt,
                "Others in the house can read and write here: no password is asked.",
            ));
        }
        printer.aside("Ctrl-C ends it.");
        if address.open && !open(&served.address) {
            printer.aside("No browser could be opened; type the address into one.");
        }
        serve_until(asked, workshop, listener).await
    })
}

/// Serves until the future is done.
async fn serve_until(
    asked: impl Future<Output = std::io::Result<()>>,
    workshop: Arc<Workshop>,
    listener: TcpListener,
) -> anyhow::Result<()> {
    let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
    let pages = web::serve(workshop, listener, async move { _ = stopped.await });
    let mut pages = std::pin::pin!(pages);
    tokio::select! {
        ended = &mut pages => return Ok(ended?),
        asked = asked => asked?,
    }
    _ = stop.send(());
    match tokio::time::timeout(PATIENCE, pages).await {
        Ok(ended) => Ok(ended?),
        Err(_) => Ok(()),
    }
}

async fn bind(ip: IpAddr, port: u16) -> anyhow::Result<TcpListener> {
    let last = if port == 0 {
        0
    } else {
        port.saturating_add(MORE_PORTS)
    };
    let mut why = None;
    for port in port..=last {
        match TcpListener::bind((ip, port)).await {
            Ok(listener) => return Ok(listener),
            Err(error) if error.kind() == std::io::ErrorKind::AddrInUse => why = Some(error),
            Err(error) => return Err(unbound(ip, port, &error)),
        }
    }
    Err(unbound(
        ip,
        port,
        &why.unwrap_or_else(|| std::io::ErrorKind::AddrInUse.into()),
    ))
}

fn unbound(ip: IpAddr, port: u16, error: &std::io::Error) -> anyhow::Error {
    let message = format!("cannot listen at `{}`: {error}", SocketAddr::new(ip, port));
    stop(ErrorKind::Io, message, "name another with --port or --bind")
}

fn url(address: SocketAddr) -> String {
    format!("http://{address}/")
}

/// Hands the address to the system's own opener.
fn open(url: &str) -> bool {
    let mut command = if cfg!(target_os = "windows") {
        let mut command = Command::new("cmd");
        command.args(["/C", "start", ""]);
        command
    } else if cfg!(target_os = "macos") {
        Command::new("open")
    } else {
        Command::new("xdg-open")
    };
    command
        .arg(url)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .is_ok()
}
