//! `rooms`: who wants small fish, and what there is room for.

use proto::v1;

use crate::Reach;
use crate::known::Known;
use crate::show::{self, Column, Page, word};
use crate::trouble::Trouble;

/// Arguments of `rooms`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  weighhouse rooms --site 1")]
pub struct Rooms {
    /// Number of the site
    #[arg(long)]
    site: i32,
    #[command(flatten)]
    reach: Reach,
}

impl Rooms {
    pub(crate) async fn run(self) -> Result<String, Trouble> {
        let service = self.reach.service().await?;
        let answer = service
            .list_rooms(v1::ListRoomsRequest {
                site: self.site,
                page_size: 1_000,
                page_token: String::new(),
            })
            .await
            .map_err(|trouble| trouble.in_flags(&[("site", "--site")]))?;
        self.reach
            .say(&service, &answer, |known| {
                text(self.site, &answer.rooms, known)
            })
            .await
    }
}

fn text(site: i32, rooms: &[v1::Room], known: &Known) -> String {
    let mut page = Page::title(format!("Rooms for small fish at {}", known.site(site)));
    let columns = [
        Column::Left("room"),
        Column::Left("kind"),
        Column::Left("takes"),
        Column::Right("how much"),
        Column::Right("promised"),
        Column::Right("pays"),
        Column::Left("when"),
    ];
    let rows: Vec<Vec<String>> = rooms.iter().map(row).collect();
    if rows.is_empty() {
        page.line("  None is on file.");
    } else {
        page.table(&columns, &rows);
    }
    page.done()
}

fn row(room: &v1::Room) -> Vec<String> {
    let forms = room.presentations.iter();
    let forms: Vec<String> = forms.map(|form| word!(Presentation, *form)).collect();
    let takes = [room.species.join(" "), forms.join(", ")];
    let takes: Vec<&str> = takes
        .iter()
        .map(String::as_str)
        .filter(|of| !of.is_empty())
        .collect();
    let windows = room.windows.iter();
    let windows: Vec<String> = windows
        .map(|window| format!("{}-{}", window.from, window.to))
        .collect();
    let mut when = vec![if room.ended {
        "ended".to_owned()
    } else if room.standing {
        "every day".to_owned()
    } else {
        "once".to_owned()
    }];
    when.extend(windows);
    vec![
        format!("{} ({})", room.name, room.code),
        word!(RoomKind, room.kind),
        if takes.is_empty() {
            "any".to_owned()
        } else {
            takes.join(": ")
        },
        show::reading(room.weight.as_ref()),
        room.promised
            .as_ref()
            .map_or_else(String::new, |promised| show::reading(Some(promised))),
        room.price
            .as_ref()
            .map_or_else(String::new, |price| show::price(Some(price))),
        when.join(" "),
    ]
}
