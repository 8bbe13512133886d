"""The page at the kit in a browser: it opens and plays without a network, and every take arrives once, in order."""

from __future__ import annotations

import re
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from playwright.sync_api import Page, expect
from pytest_django.live_server_helper import LiveServer

from analysis.maps.click_sound import click_sounds
from analysis.maps.click_style import ClickStyle
from portal.bookings.models import Song
from portal.bookings.stages import BookingStage
from portal.kit.models import Balance, TakeLog
from portal.people.models import User
from portal.prep.models import SongPrep
from tests.browsing import sign_in
from tests.factories import make_drummer, make_map, make_song
from tests.flows.accessible import Faults
from tests.portal.kit.playing import play

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

HEAD_S = "document.querySelector('[data-kit]').kit.headS"


def test_without_a_network_it_reloads_plays_and_logs_takes_that_arrive_once_in_order(kit: Page, song: Song) -> None:
    kit.context.set_offline(offline=True)
    kit.reload()
    kit.locator("[data-kit][data-state=ready]").wait_for()
    expect(kit.locator("[data-kit-state]")).to_contain_text("No network")
    for _ in range(2):
        kit.keyboard.press("i")  # two bars of count-in, then none
    play(kit)
    expect(kit.locator("[data-kit-bar]")).to_have_text("2")
    kit.keyboard.press("s")
    assert kit.evaluate(HEAD_S) > 4.0
    assert kit.evaluate("document.querySelector('[data-kit]').kit.sounds.missing.size") == 0
    for _ in range(3):
        kit.keyboard.press("g")
    kit.keyboard.press("k")
    expect(kit.locator("[data-kit-last]")).to_have_text("Take 3, kept")
    expect(kit.locator("[data-kit-unsent]")).to_contain_text("3 takes are still to be sent")
    assert not TakeLog.objects.exists()

    kit.context.set_offline(offline=False)
    expect(kit.locator("[data-kit-unsent]")).to_contain_text("All takes are sent")
    taken = TakeLog.objects.filter(song=song)
    assert [(take.number, take.is_kept) for take in taken] == [(1, False), (2, False), (3, True)]
    kit.reload()
    kit.locator("[data-kit][data-state=ready]").wait_for()
    assert TakeLog.objects.count() == 3


def kept_names(page: Page) -> list[str]:
    names: list[str] = page.evaluate("caches.keys().then((names) => names.filter((name) => /kit-u/.test(name)).sort())")
    return names


def rows(page: Page) -> list[str]:
    """Of what the device's database holds: takes and notes."""
    return list(
        page.evaluate(
            """async () => {
              const { inStore } = await import('kitpost/lib/kept');
              const keys = (name) => inStore(name, 'readonly', (store) => store.getAllKeys());
              return [...((await keys('takes')) ?? []), ...((await keys('notes')) ?? [])];
            }"""
        )
    )


def test_signing_out_sends_what_waits_and_leaves_nothing_on_the_device(
    kit: Page, live_server: LiveServer, song: Song
) -> None:
    assert len(kept_names(kit)) == 2
    kit.context.set_offline(offline=True)
    kit.keyboard.press("g")
    expect(kit.locator("[data-kit-unsent]")).to_contain_text("1 take is still to be sent")
    kit.goto("about:blank")  # so that the page itself cannot send it
    kit.context.set_offline(offline=False)
    kit.goto(f"{live_server.url}/me/")
    assert TakeLog.objects.count() == 0
    kit.get_by_role("button", name="Sign out").click()
    kit.wait_for_url("**/sign-in/**")
    assert TakeLog.objects.get().number == 1
    assert kept_names(kit) == []
    assert rows(kit) == []
    kit.context.set_offline(offline=True)
    with pytest.raises(Exception, match="ERR_INTERNET_DISCONNECTED"):
        kit.goto(f"{live_server.url}/kit/{song.pk}/")
    kit.context.set_offline(offline=False)


def test_another_reader_finds_nothing_of_what_was_kept(
    kit: Page, live_server: LiveServer, client: Client, song: Song
) -> None:
    """The first one's sign-in ran out, and another drummer signs in on the same tablet."""
    client.force_login(make_drummer())
    sign_in(kit, live_server, client)
    kit.goto(f"{live_server.url}/me/")
    expect(kit.get_by_role("heading", level=1)).to_be_visible()
    expect(kit.locator("body")).to_have_attribute("data-reader", str(client.session["_auth_user_id"]))
    kit.wait_for_load_state("networkidle")
    assert kept_names(kit) == []


def test_a_map_approved_anew_is_taken_and_the_page_says_so(kit: Page, song: Song) -> None:
    expect(kit.locator("[data-kit-tempo]")).to_have_text("120 BPM")
    make_map(song=song, bpm=100.0)
    kit.evaluate("window.dispatchEvent(new Event('online'))")
    expect(kit.locator("[data-kit-tempo]")).to_have_text("100 BPM")
    expect(kit.locator("[data-kit-state]")).to_contain_text(
        "What this device kept was older (map 1). It now has map 2."
    )


def test_a_balance_set_without_a_network_is_there_after_a_reload_and_reaches_the_house(kit: Page) -> None:
    kit.context.set_offline(offline=True)
    for _ in range(2):
        kit.keyboard.press("c")
    expect(kit.locator("[data-kit-said]")).to_have_text("Click +6 dB.")
    kit.evaluate("document.querySelector('[data-kit]').kit.balance.save()")
    kit.reload()
    kit.locator("[data-kit][data-state=ready]").wait_for()
    kit.context.set_offline(offline=False)
    expect(kit.locator("[data-kit-state]")).not_to_contain_text("No network")
    kit.evaluate("document.querySelector('[data-kit]').kit.balance.save()")
    assert Balance.objects.get().levels["click"] == 6


def test_a_key_can_be_given_another_and_the_page_keeps_it(opened: Page) -> None:
    opened.get_by_text("Keys", exact=True).click()
    opened.get_by_role("button", name="Stop: S.").click()
    opened.keyboard.press("t")
    expect(opened.locator("[data-kit-key-said]")).to_have_text("Two keys have changed places.")
    opened.reload()
    opened.locator("[data-kit][data-state=ready]").wait_for()
    expect(opened.locator("[data-kit-do=stop] kbd")).to_have_text("T")
    expect(opened.locator("[data-kit-do=top] kbd")).to_have_text("S")
    opened.locator("h1").click()
    play(opened, "s")


def test_a_take_gets_a_word_and_each_step_can_be_undone(opened: Page, song: Song) -> None:
    opened.keyboard.press("g")
    opened.keyboard.press("w")
    opened.keyboard.type("good fill")
    opened.keyboard.press("Enter")
    opened.keyboard.press("k")  # at once: the word's field is left by then
    last = opened.locator("[data-kit-last]")
    expect(last).to_have_text("Take 1, kept, “good fill”")
    for text in ("Take 1, not kept, “good fill”", "Take 1, not kept", "No take yet"):
        opened.keyboard.press("u")
        expect(last).to_have_text(text)
    expect(opened.locator("[data-kit-unsent]")).to_have_text("")
    assert TakeLog.objects.get(song=song).is_undone


def test_in_a_booking_that_is_over_no_take_is_logged_or_changed(kit: Page, song: Song) -> None:
    kit.keyboard.press("g")
    expect(kit.locator("[data-kit-unsent]")).to_have_text("All takes are sent.")
    song.booking.move_to(BookingStage.CLOSED)
    kit.reload()
    kit.locator("[data-kit][data-state=ready]").wait_for()
    expect(kit.locator("[data-kit-unsent]")).to_contain_text("This booking is over: its takes stay as they are.")
    for name in ("take", "undo", "keep", "word"):
        expect(kit.locator(f"[data-kit-do={name}]")).to_be_disabled()
    for key in ("g", "k", "u"):
        kit.keyboard.press(key)
    expect(kit.locator("[data-kit-said]")).to_contain_text("This booking is over")
    expect(kit.locator("[data-kit-last]")).to_have_text("Take 1, not kept")
    [take] = TakeLog.objects.all()
    assert (take.is_kept, take.is_undone) == (False, False)


def test_a_section_loops_slower_with_its_click_all_by_keys(opened: Page) -> None:
    opened.keyboard.press("ArrowRight")
    expect(opened.locator("[data-kit-section]")).to_have_text("B")
    expect(opened.locator("[data-kit-words] .here").first).to_have_text("half-time")
    for key in ("l", "-", "-", "d", "b", "n", "i"):
        opened.keyboard.press(key)
    expect(opened.locator("[data-kit-looping]")).to_have_text("Loop 5–8")
    expect(opened.locator("[data-kit-tempo]")).to_have_text("108 BPM")  # 90 % of 120
    expect(opened.locator("[data-kit-pace]")).to_have_text("90 % of 120")
    expect(opened.locator("[data-kit-do=loop]")).to_have_attribute("aria-pressed", "true")
    practice = opened.evaluate(
        "(({ subdivision, pattern, every, countIn }) => ({ subdivision, pattern, every, countIn }))"
        "(document.querySelector('[data-kit]').kit.practice)"
    )
    assert practice == {"subdivision": "quarter", "pattern": [4, 4], "every": 4, "countIn": 2}


def test_a_take_that_was_sent_is_there_once_after_a_reload_without_a_network(kit: Page, song: Song) -> None:
    kit.keyboard.press("g")
    expect(kit.locator("[data-kit-unsent]")).to_have_text("All takes are sent.")
    expect(kit.locator("[data-kit-takes] tr")).to_have_count(1)
    # Kept on the device as the house has it: what the device forgot as sent must be in there.
    kit.wait_for_function(
        "async () => (await (await caches.match(`${location.pathname}song.json`))?.json())?.takes.length === 1"
    )
    kit.context.set_offline(offline=True)
    kit.reload()
    kit.locator("[data-kit][data-state=ready]").wait_for()
    expect(kit.locator("[data-kit-takes] tr")).to_have_count(1)
    kit.keyboard.press("g")
    expect(kit.locator("[data-kit-last]")).to_have_text("Take 2, not kept")
    expect(kit.locator("[data-kit-takes] tr")).to_have_count(2)
    kit.context.set_offline(offline=False)
    expect(kit.locator("[data-kit-unsent]")).to_have_text("All takes are sent.")
    assert [take.number for take in TakeLog.objects.filter(song=song)] == [1, 2]


def test_space_plays_after_a_section_was_clicked(opened: Page) -> None:
    section = opened.get_by_role("button", name="Section B, from bar 5")
    section.click()
    assert opened.evaluate(HEAD_S) == 10.0  # bar 5: four bars of 2 s after 2 s
    expect(section).not_to_be_focused()
    play(opened, "Space")
    assert opened.evaluate(HEAD_S) == 10.0


def test_a_take_says_where_it_began_how_fast_and_when_in_the_house_s_time(opened: Page, song: Song) -> None:
    opened.keyboard.press("ArrowRight")
    for _ in range(2):
        opened.keyboard.press("-")
    play(opened, "p")
    opened.keyboard.press("s")
    opened.keyboard.press("g")
    expect(opened.locator("[data-kit-unsent]")).to_have_text("All takes are sent.")
    take = TakeLog.objects.get(song=song)
    assert (take.section, take.speed_percent) == ("B", 90)
    opened.get_by_text("Takes", exact=True).click()
    row = opened.locator("[data-kit-takes] tr")
    zone = opened.evaluate("document.querySelector('[data-kit]').kit.song.time_zone")
    when = take.logged_at.astimezone(ZoneInfo(zone))
    expect(row).to_contain_text("from B, 90 %")
    expect(row).to_contain_text(f"{when.day} {when:%b %Y, %H:%M}")


KEEP_COUNTS = """() => {
  const { picture } = document.querySelector("[data-kit]").kit;
  const show = picture.showCount;
  window.counted = [];
  picture.showCount = (count) => {
    show.call(picture, count);
    const text = ["of", "section"].map((name) => picture.part(name).textContent).join(" ");
    if (window.counted.at(-1) !== text) window.counted.push(text);
    document.body.dataset.counted = text;
  };
}"""


def test_the_count_in_is_shown_beat_by_beat(opened: Page) -> None:
    """A busy machine may draw nothing for as long as a beat: what is drawn is a beat of four, one after another."""
    opened.evaluate(KEEP_COUNTS)
    play(opened)
    opened.locator("body[data-counted]").wait_for()
    expect(opened.locator("[data-kit-of]")).to_have_text(re.compile("^bar . of 4$"))
    counted = opened.evaluate("window.counted")
    assert counted == [f"count-in {beat}" for beat in range(1, 5) if f"count-in {beat}" in counted]


def test_before_bar_one_the_song_s_tempo_stands_there_and_no_bar(opened: Page) -> None:
    opened.evaluate("document.querySelector('[data-kit]').kit.picture.show(null)")
    expect(opened.locator("[data-kit-of]")).to_have_text("before bar 1")
    expect(opened.locator(".kit-bar")).to_be_hidden()
    expect(opened.locator("[data-kit-tempo]")).to_have_text("120 BPM")
    expect(opened.locator("[data-kit-meter]")).to_have_text("4/4")


def test_nothing_sounds_before_play_was_pressed(opened: Page) -> None:
    transport = "document.querySelector('[data-kit]').kit.transport"
    for key in ("ArrowRight", "l", "-", "c", "g"):
        opened.keyboard.press(key)
    assert opened.evaluate(f"{transport}.context === null && !{transport}.isPlaying")
    opened.keyboard.press("p")
    expect(opened.get_by_role("note")).to_contain_text("Turn your headphones down")
    assert opened.evaluate(f"{transport}.context === null && !{transport}.isPlaying")


def test_a_finger_must_rest_on_a_button(opened: Page) -> None:
    press = """(heldMs) => {
      const button = document.querySelector('[data-kit-do=take]');
      const tell = (name, Kind = PointerEvent) =>
        button.dispatchEvent(new Kind(name, { bubbles: true, cancelable: true, pointerType: 'touch' }));
      tell('pointerdown');
      return new Promise((done) => setTimeout(() => { tell('pointerup'); tell('click'); done(); }, heldMs));
    }"""
    opened.evaluate(press, 20)
    expect(opened.locator("[data-kit-said]")).to_have_text("Hold the button a moment.")
    expect(opened.locator(".kit-hint")).to_be_in_viewport(ratio=1)
    expect(opened.locator("[data-kit-last]")).to_have_text("No take yet")
    opened.evaluate(press, 400)
    expect(opened.locator("[data-kit-last]")).to_have_text("Take 1, not kept")
    opened.keyboard.press("h")
    opened.evaluate(press, 20)
    expect(opened.locator("[data-kit-last]")).to_have_text("Take 2, not kept")


LACKING = """
delete Navigator.prototype.wakeLock; delete Navigator.prototype.serviceWorker; delete AudioContext.prototype.setSinkId;
"""


CLICK_HEARD = """async () => {
  const { transport } = document.querySelector('[data-kit]').kit;
  while (!transport.cursor) await new Promise((done) => setTimeout(done, 10));
  return transport.clicks ? Array.from(transport.clicks[0].getChannelData(0).subarray(0, 480)) : null;
}"""


def test_the_song_s_own_click_is_kept_and_plays_without_a_network(kit: Page, song: Song) -> None:
    """Chosen after the page was kept: it takes the new one by itself. The accent's first 10 ms are the engine's."""
    SongPrep.objects.create(song=song, click_sound="wood")
    with kit.expect_navigation():
        kit.evaluate("window.dispatchEvent(new Event('online'))")
    kit.locator("[data-kit][data-kept=yes]").wait_for()
    kit.context.set_offline(offline=True)
    kit.reload()
    kit.locator("[data-kit][data-state=ready]").wait_for()
    play(kit)
    accent = click_sounds(ClickStyle(sound="wood"), 48_000)[0]
    assert kit.evaluate(CLICK_HEARD) == pytest.approx(accent[:480].astype("<f4").tolist())
    kit.context.set_offline(offline=False)


def test_without_the_click_the_music_plays_and_the_page_says_so(
    live_server: LiveServer, client: Client, page: Page, song: Song, drummer: User
) -> None:
    page.route("**/clicks/?*", lambda route: route.abort())
    client.force_login(drummer)
    sign_in(page, live_server, client)
    page.goto(f"{live_server.url}/kit/{song.pk}/")
    page.locator("[data-kit][data-state=ready]").wait_for()
    play(page)
    expect(page.locator("[data-kit-said]")).to_have_text("Not on this device: the click.")
    assert page.evaluate(CLICK_HEARD) is None


def test_what_a_browser_cannot_do_is_said_in_a_sentence(
    live_server: LiveServer, client: Client, page: Page, song: Song, drummer: User
) -> None:
    page.add_init_script(LACKING)
    client.force_login(drummer)
    sign_in(page, live_server, client)
    page.goto(f"{live_server.url}/kit/{song.pk}/")
    state = page.locator("[data-kit-state]")
    expect(state).to_contain_text("This browser cannot keep the screen awake")
    expect(state).to_contain_text("This browser keeps no pages")
    page.get_by_text("Headphones", exact=True).click()
    page.get_by_role("button", name="List sound devices").click()
    expect(page.locator("[data-kit-outputs-said]")).to_have_text(
        "This browser cannot choose a sound device: the one of the system is used."
    )
    play(page)


def test_from_a_key_press_to_the_first_sound(opened: Page) -> None:
    """Both by one clock: the press, and when the first frame leaves the graph. It is printed, and bounded only so that
    a stall is seen: the ramp from silence and the lead come to less than half a second of it."""
    play(opened)
    opened.keyboard.press("s")
    opened.evaluate(
        "addEventListener('keydown', () => (window.pressedMs = performance.now()), { capture: true, once: true })"
    )
    opened.keyboard.press("t")
    opened.locator("[data-playing=true]").wait_for()
    ms = opened.evaluate(
        """async () => {
          const { transport } = document.querySelector('[data-kit]').kit;
          while (!transport.cursor) await new Promise((done) => setTimeout(done, 10));
          const inMs = (transport.rampAtS - transport.heardS()) * 1000;
          return performance.now() + inMs - window.pressedMs;
        }"""
    )
    print(f"from key press to first sound: {ms:.0f} ms")  # noqa: T201
    assert 0 < ms < 5_000


def test_the_page_has_no_fault_of_wcag(opened: Page) -> None:
    """WCAG 2.2 AA by axe-core, with everything unfolded; a song that is playing is looked at too."""
    faults = Faults()
    for summary in opened.locator("details > summary").all():
        summary.click()
    faults.look(opened, "at the kit")
    play(opened)
    faults.look(opened, "at the kit, playing")
    assert (faults.grave, faults.slight) == ([], [])


ROOM = """async (quota) => {
  const { Keeping } = await import('kitpost/kit/keeping');
  const { cacheName, keepNote } = await import('kitpost/lib/kept');
  const { song } = document.querySelector('[data-kit]').kit;
  const { reader } = song;
  for (const [at, other] of [999901, 999902].entries()) {
    await caches.open(cacheName(reader, `song-${other}`));
    await keepNote(`opened:${reader}:${other}`, { reader, song: other, title: '', bytes: 4e6, at });
  }
  StorageManager.prototype.estimate = async () => ({ quota });
  const lanes = await new Keeping(song).makeRoom();
  const names = (await caches.keys()).filter((name) => /song-99990/.test(name));
  return [lanes.length, names.map((name) => Number(name.split('-').at(-1)))];
}"""


def test_the_song_opened_longest_ago_leaves_first(opened: Page) -> None:
    """Four files of 24 s are 4 × 24 × 48 000 × 4 = 18.4 MB, two other songs 4 MB each. Six tenths of what the browser
    grants is used: of 40 MB 24, with room for one of the others; of 20 MB 12, for two of the four files."""
    assert opened.evaluate(ROOM, 40e6) == [4, [999902]]
    assert opened.evaluate(ROOM, 20e6) == [2, []]


def test_a_song_with_nothing_to_play_says_so_and_still_logs_takes(
    live_server: LiveServer, client: Client, page: Page
) -> None:
    song = make_song(stage="tracking")
    client.force_login(song.booking.created_by)
    sign_in(page, live_server, client)
    page.goto(f"{live_server.url}/kit/{song.pk}/")
    expect(page.locator("[data-kit-state]")).to_contain_text("This song has no files to play yet.")
    page.keyboard.press("g")
    expect(page.locator("[data-kit-unsent]")).to_have_text("All takes are sent.")
    assert TakeLog.objects.get().song == song


LONG = """() => {
  const { picture, song } = document.querySelector("[data-kit]").kit;
  const form = Array.from({ length: 11 }, (_, at) => ({
    label: `${"ABCDEFGHIJK"[at]} Chorus`, bar: 1 + 8 * at, bars: 8, startS: 2 + 16 * at, endS: 18 + 16 * at,
  }));
  picture.showForm(form, null);
  picture.show({ bar: 26, beat: 1, beats: 4, meter: "4/4", bpm: 120, section: 3, next: null });
}"""
CUT = "element => element.scrollWidth > element.clientWidth"


def test_names_of_sections_stand_whole_and_where_there_is_no_room_their_letters_do(opened: Page) -> None:
    """Eleven sections with names, on a laptop and on a phone."""
    for width, height in ((1440, 900), (390, 844)):
        opened.set_viewport_size({"width": width, "height": height})
        opened.evaluate(LONG)
        section = opened.locator("[data-kit-section]")
        expect(section).to_have_text("D Chorus")
        assert not section.evaluate(CUT)
        expect(opened.locator("[data-kit-of]")).to_be_in_viewport(ratio=1)
        for button in opened.locator(".kit-form button").all():
            assert not button.evaluate(CUT)
            assert not opened.evaluate("document.documentElement.scrollWidth > innerWidth")
    expect(opened.locator(".kit-form button").first).to_have_text("A Chorus")
    assert opened.locator(".kit-form button").first.inner_text() == "A"
    words, keys = (opened.locator(name).bounding_box() for name in (".kit-words", ".kit > .kit-keys"))
    assert words is not None
    assert keys is not None
    assert words["y"] + words["height"] <= keys["y"]
