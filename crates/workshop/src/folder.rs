//! The workshop folder: `workshop.toml`, `boards/`, `vendors/`, `remedies.toml`, `journal.db`.

use std::{
    collections::{BTreeMap, BTreeSet},
    fs, io,
    path::{Path, PathBuf},
    sync::{Arc, OnceLock},
    time::SystemTime,
};

use catalogue::{Library, Netlist, Profile};
use purchasing::{Offer, Problem, Vendor};

use crate::{
    Error, ErrorKind,
    names::{choices, nearest},
    reckon::both,
    settings::{DEFAULT, Settings},
    views::BoardChoice,
    words::{counted, quoted},
};

/// Largest file that is read.
const LARGEST: u64 = 4_000_000;

/// What the folder's files say.
#[derive(Debug, Clone)]
pub(crate) struct Folder {
    pub(crate) settings: Settings,
    own: OwnBoards,
    /// The built-in catalogue with the person's own devices and remedies.
    pub(crate) library: Arc<Library>,
    pub(crate) vendors: Vec<Vendor>,
    /// The offers that hold: those of the folder's files, with those of the journal.
    pub(crate) offers: Vec<Offer>,
    /// The offers of the folder's files.
    pub(crate) filed: Vec<Offer>,
    /// Files that cannot be read, each with what is wrong; boards are not among them.
    broken: BTreeMap<String, String>,
    /// Offers of vendors whom no file describes, told.
    strays: Vec<String>,
    stamp: Stamp,
}

/// The person's own boards.
#[derive(Debug, Clone, Default)]
struct OwnBoards {
    boards: BTreeMap<String, Arc<Profile>>,
    /// Where each of them lies.
    files: BTreeMap<String, PathBuf>,
    /// Nets by board, where they lie beside its file.
    nets: BTreeMap<String, Netlist>,
    /// Files that cannot be read, each with what is wrong.
    broken: BTreeMap<String, String>,
    /// The same for files of nets.
    nets_broken: BTreeMap<String, String>,
}

/// A file of vendors by its short name, with what it says or what is wrong with it.
type VendorFile = (String, Result<(Vec<Vendor>, Vec<Offer>), Vec<Problem>>);

/// Name, length and time of each file, to see a change.
type Stamp = Vec<(PathBuf, u64, Option<SystemTime>)>;

impl Folder {
    /// Makes what is missing.
    pub(crate) fn make(dir: &Path) -> Result<(), Error> {
        for sub in ["", "boards", "vendors"] {
            let path = dir.join(sub);
            fs::create_dir_all(&path).map_err(|error| cannot("make the folder", &path, &error))?;
        }
        let settings = dir.join("workshop.toml");
        match fs::OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(&settings)
        {
            Ok(mut file) => io::Write::write_all(&mut file, DEFAULT.as_bytes())
                .map_err(|error| cannot("write", &settings, &error))?,
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            Err(error) => return Err(cannot("write", &settings, &error)),
        }
        Ok(())
    }

    /// Reads all of it.
    pub(crate) fn read(dir: &Path) -> Result<Folder, Error> {
        let stamp = stamp(dir)?;
        // boards are the longest to read, and need the catalogue only after their own words; what reads it waits for no other worker,
        // which might be waiting for it
        let catalogue = OnceLock::new();
        let library = || catalogue.get_or_init(|| read_library(dir));
        let around = || {
            let settings = read_settings(dir)?;
            library();
            Ok((settings, vendor_files(dir)))
        };
        let known = || match library() {
            Ok((library, _)) => &**library,
            Err(_) => &**Library::built_in(),
        };
        let (around, own) = both(around, || OwnBoards::read(dir, known));
        let (settings, vendors) = around?;
        // it was read, or there was no way here
        let (library, broken) = catalogue
            .into_inner()
            .unwrap_or_else(|| read_library(dir))?;
        let mut folder = Folder {
            settings,
            own: own?,
            library,
            vendors: Vec::new(),
            offers: Vec::new(),
            filed: Vec::new(),
            strays: Vec::new(),
            broken: BTreeMap::from_iter(broken),
            stamp,
        };
        folder.take_vendors(vendors?);
        Ok(folder)
    }

    /// The folder anew if a file has changed since.
    pub(crate) fn fresh(&self, dir: &Path) -> Result<Option<Folder>, Error> {
        if stamp(dir)? == self.stamp {
            Ok(None)
        } else {
            Folder::read(dir).map(Some)
        }
    }

    /// The same folder with other offers that hold.
    pub(crate) fn with_offers(&self, offers: Vec<Offer>) -> Folder {
        Folder {
            offers,
            ..self.clone()
        }
    }

    /// The nets of a board.
    pub(crate) fn nets(&self, id: &str) -> Result<&Netlist, Error> {
        if let Some(nets) = self.own.nets.get(id) {
            return Ok(nets);
        }
        let hint = format!("take them with `boardwright board read-nets {id} FILE --take`");
        let what = match self.own.nets_broken.iter().next() {
            Some((file, what)) => format!("the nets in {file} cannot be read\n{what}"),
            None => format!("there are no nets of {}", quoted(id)),
        };
        Err(Error::new(ErrorKind::NotFound, what).hint(hint))
    }

    fn take_vendors(&mut self, files: Vec<VendorFile>) {
        // by file and vendor: how many offers
        let mut counts: BTreeMap<(String, String), usize> = BTreeMap::new();
        for (name, read) in files {
            match read {
                Ok((vendors, offers)) => {
                    for vendor in vendors {
                        if self.vendors.iter().any(|known| known.id == vendor.id) {
                            let what = format!(
                                "{name}: expected an id of its own, found vendor `{}` twice",
                                vendor.id
                            );
                            self.broken.insert(name.clone(), what);
                        } else {
                            self.vendors.push(vendor);
                        }
                    }
                    for offer in &offers {
                        let key = (name.clone(), offer.vendor.clone());
                        *counts.entry(key).or_default() += 1;
                    }
                    self.filed.extend(offers);
                }
                Err(problems) => {
                    self.broken.insert(name, told(&problems));
                }
            }
        }
        if let Some(home) = &self.settings.country {
            let rules = purchasing::customs();
            for vendor in &mut self.vendors {
                let rule = purchasing::Customs::between(&rules, home, vendor);
                if let Some(rule) = rule.filter(|rule| self.settings.knows(rule.duty_from.currency))
                {
                    rule.fill(vendor);
                }
            }
        }
        let known = |id: &str| self.vendors.iter().any(|vendor| vendor.id == id);
        let strays = counts.iter().filter(|((_, vendor), _)| !known(vendor));
        self.strays = strays
            .map(|((file, vendor), count)| self.stray(file, vendor, *count))
            .collect();
        self.filed
            .retain(|offer| self.vendors.iter().any(|vendor| vendor.id == offer.vendor));
        self.offers = self.filed.clone();
    }

    /// What is said of offers of a vendor whom no file describes.
    fn stray(&self, file: &str, vendor: &str, count: usize) -> String {
        let near = nearest(vendor, self.vendors.iter().map(|known| known.id.as_str()));
        let near = match near.is_empty() {
            true => String::new(),
            false => format!("; nearest are {}", choices(near)),
        };
        format!(
            "{} in {file} left out: no file describes vendor {}{near}",
            counted(count, "offer", "offers"),
            quoted(vendor)
        )
    }

    /// Boards that machines can be taken in as.
    pub(crate) fn choices(&self) -> Vec<BoardChoice> {
        let choice = |starter: bool| {
            move |profile: Arc<Profile>| BoardChoice {
                id: profile.id.clone(),
                title: profile.title.clone(),
                starter,
            }
        };
        let own = self.own.boards.values().cloned().map(choice(false));
        let starters = starter_ids()
            .into_iter()
            .filter(|id| !self.own.boards.contains_key(*id))
            .filter_map(catalogue::starter);
        own.chain(starters.map(choice(true))).collect()
    }

    /// The board with this id.
    pub(crate) fn board(&self, id: &str) -> Result<Arc<Profile>, Error> {
        let own = self.own.boards.get(id).cloned();
        if let Some(profile) = own.or_else(|| catalogue::starter(id)) {
            return Ok(profile);
        }
        if let Some(text) = self.own.broken.values().next() {
            return Err(Error::new(
                ErrorKind::Usage,
                format!("the board `{id}` cannot be read\n{text}"),
            )
            .hint("mend the file, then try again"));
        }
        let own = self.own.boards.keys().map(String::as_str);
        let known = own.chain(starter_ids());
        Err(Error::new(
            ErrorKind::NotFound,
            format!(
                "there is no board {}; nearest are {}",
                quoted(id),
                choices(nearest(id, known))
            ),
        )
        .hint("put its file into the folder `boards`, or take a starter"))
    }

    /// The file of one of the person's own boards.
    pub(crate) fn file_of(&self, dir: &Path, id: &str) -> Option<PathBuf> {
        let by_id = self.own.files.get(id).cloned();
        // A file that cannot be read has no board yet; it is found by its name.
        let by_name = || {
            let path = dir.join("boards").join(format!("{id}.toml"));
            let plain = !id.contains(['/', '\\', '.']);
            (plain && path.is_file()).then_some(path)
        };
        by_id.or_else(by_name)
    }

    /// The short name and the bytes of a board's file.
    pub(crate) fn read_board(&self, dir: &Path, path: &Path) -> Result<(String, Vec<u8>), Error> {
        Ok((shown(dir, path), read(path)?))
    }

    /// It is built in.
    pub(crate) fn is_starter(&self, id: &str) -> bool {
        !self.own.boards.contains_key(id) && starter_ids().contains(id)
    }

    /// The board taken when none is named: the only one in the folder, else the first starter.
    pub(crate) fn usual_board(&self) -> Result<Arc<Profile>, Error> {
        let mut own = self.own.boards.values();
        match (own.next(), own.next()) {
            (Some(only), None) => Ok(Arc::clone(only)),
            (None, _) => match self.own.broken.values().next() {
                Some(text) => Err(Error::new(
                    ErrorKind::Usage,
                    format!("a board cannot be read\n{text}"),
                )
                .hint("mend the file, or name a board")),
                None => self.board(STARTER),
            },
            (Some(_), Some(_)) => {
                let known = choices(self.own.boards.keys().map(String::as_str));
                Err(Error::new(
                    ErrorKind::Usage,
                    format!("expected a board, found several: {known}"),
                )
                .hint("name one of them with `--board`"))
            }
        }
    }

    /// What is wrong with files that the plan needs.
    pub(crate) fn trouble(&self) -> Vec<String> {
        let files = self.broken.iter().chain(&self.own.nets_broken);
        files
            .map(|(file, text)| {
                format!(
                    "The file {file} is left out: {}",
                    text.lines().next().unwrap_or_default()
                )
            })
            .chain(self.strays.iter().cloned())
            .collect()
    }
}

impl OwnBoards {
    /// Reads them; the catalogue is asked for when it is needed.
    fn read<'l>(dir: &Path, library: impl Fn() -> &'l Library) -> Result<Self, Error> {
        let mut own = Self::default();
        for path in toml_files(&dir.join("boards"))? {
            let name = shown(dir, &path);
            let bytes = read(&path)?;
            let nets = own.read_nets(dir, &path, &bytes, &library)?;
            let profile = match &nets {
                Some(nets) => catalogue::parse_profile_with_nets(&bytes, &name, library(), nets),
                None => catalogue::parse_profile_early(&bytes, &name, &library),
            };
            match profile {
                Ok(profile) => {
                    own.nets.extend(nets.map(|nets| (profile.id.clone(), nets)));
                    let profile = Arc::new(profile);
                    own.files.insert(profile.id.clone(), path.clone());
                    if let Some(other) = own.boards.insert(profile.id.clone(), Arc::clone(&profile))
                    {
                        let what = format!(
                            "{name}: expected an id of its own, found `{}` twice in boards/",
                            other.id
                        );
                        own.broken.insert(name, what);
                    }
                }
                Err(problems) => {
                    own.broken.insert(name, told(&problems));
                }
            }
        }
        Ok(own)
    }

    /// The nets that lie beside a board's file; what is wrong with them is told, and the board does without.
    fn read_nets<'l>(
        &mut self,
        dir: &Path,
        board: &Path,
        bytes: &[u8],
        library: impl Fn() -> &'l Library,
    ) -> Result<Option<Netlist>, Error> {
        let path = board.with_extension("nets");
        if !path.is_file() {
            return Ok(None);
        }
        let file = shown(dir, &path);
        let Ok(profile) = catalogue::parse_profile_early(bytes, &shown(dir, board), &library)
        else {
            return Ok(None);
        };
        let nets = catalogue::parse_nets(&read(&path)?, &file)
            .and_then(|(nets, _)| nets.settled(&profile, library(), &file));
        match nets {
            Ok(nets) => Ok(Some(nets)),
            Err(problems) => {
                self.nets_broken.insert(file, problems[0].to_string());
                Ok(None)
            }
        }
    }
}

/// The starter taken when nothing is named.
const STARTER: &str = "z80-micro";

/// Ids of the built-in starters in order.
fn starter_ids() -> BTreeSet<&'static str> {
    catalogue::starter_ids().collect()
}

/// What is wrong with a file.
fn told(problems: &[impl ToString]) -> String {
    let lines: Vec<String> = problems.iter().map(ToString::to_string).collect();
    lines.join("\n")
}

fn read_settings(dir: &Path) -> Result<Settings, Error> {
    let bytes = read(&dir.join("workshop.toml"))?;
    let text = std::str::from_utf8(&bytes).map_err(|_| {
        Error::new(
            ErrorKind::Usage,
            "workshop.toml cannot be read\nexpected UTF-8 text",
        )
        .hint("save it as UTF-8")
    })?;
    Settings::read(text)
}

/// The catalogue, and what is wrong with the person's own file.
type Catalogue = Result<(Arc<Library>, Option<(String, String)>), Error>;

/// The built-in catalogue with the person's own devices and remedies.
fn read_library(dir: &Path) -> Catalogue {
    let built_in = Library::built_in();
    let path = dir.join("remedies.toml");
    if !path.is_file() {
        return Ok((Arc::clone(built_in), None));
    }
    let name = shown(dir, &path);
    let text = String::from_utf8_lossy(&read(&path)?).into_owned();
    Ok(
        match built_in.with_folder([(name.as_str(), text.as_str())]) {
            Ok(library) => (Arc::new(library), None),
            Err(problems) => (Arc::clone(built_in), Some((name, told(&problems)))),
        },
    )
}

fn vendor_files(dir: &Path) -> Result<Vec<VendorFile>, Error> {
    let files = toml_files(&dir.join("vendors"))?;
    let read = |path: &PathBuf| {
        let name = shown(dir, path);
        let bytes = read(path)?;
        let said = purchasing::parse_vendors(&String::from_utf8_lossy(&bytes), &name);
        Ok((name, said))
    };
    files.iter().map(read).collect()
}

fn toml_files(dir: &Path) -> Result<Vec<PathBuf>, Error> {
    let mut files = Vec::new();
    let entries = match fs::read_dir(dir) {
        Ok(entries) => entries,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(files),
        Err(error) => return Err(cannot("read", dir, &error)),
    };
    for entry in entries {
        let path = entry.map_err(|error| cannot("read", dir, &error))?.path();
        if path.extension().is_some_and(|end| end == "toml") && path.is_file() {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}

fn stamp(dir: &Path) -> Result<Stamp, Error> {
    let mut files = vec![dir.join("workshop.toml"), dir.join("remedies.toml")];
    let boards = toml_files(&dir.join("boards"))?;
    files.extend(boards.iter().map(|board| board.with_extension("nets")));
    files.extend(boards);
    files.extend(toml_files(&dir.join("vendors"))?);
    let stamp = |path: PathBuf| {
        let data = fs::metadata(&path).ok()?;
        Some((path, data.len(), data.modified().ok()))
    };
    Ok(files.into_iter().filter_map(stamp).collect())
}

fn read(path: &Path) -> Result<Vec<u8>, Error> {
    let length = fs::metadata(path)
        .map_err(|error| cannot("read", path, &error))?
        .len();
    if length > LARGEST {
        return Err(Error::new(
            ErrorKind::Usage,
            format!(
                "expected a file of at most {LARGEST} bytes, found {length} in `{}`",
                path.display()
            ),
        ));
    }
    fs::read(path).map_err(|error| cannot("read", path, &error))
}

fn shown(dir: &Path, path: &Path) -> String {
    let short = path.strip_prefix(dir).unwrap_or(path);
    short
        .iter()
        .map(|part| part.to_string_lossy())
        .collect::<Vec<_>>()
        .join("/")
}

fn cannot(what: &str, path: &Path, error: &io::Error) -> Error {
    Error::new(
        ErrorKind::Io,
        format!("cannot {what} `{}`: {error}", path.display()),
    )
}
