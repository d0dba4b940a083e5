"""The platform under the pages: charts that always update, nothing fetched, nothing left behind."""

import re
import signal
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from capex.views.access import held_port

from .conftest import Served, Watched, running, served, write_notebook

IMPORTS = """
import ipywidgets as widgets
from capex.views.chart import Chart, ChartTable
from capex.views.palette import alternative_styles
from capex.views.guard import Guard
"""
PAGE = """
slider = widgets.IntSlider(description="Demand", min=1, max=50, value=10)
charts = [Chart("Cumulative cash"), Chart("Load by month", height=300)]
styles = alternative_styles(["keep", "separate", "all_in_one", "staged"])
trouble = widgets.HTML()
trouble.add_class("capex-trouble")


def draw(change=None):
    months = list(range(12))
    lines = [
        {"type": "scatter", "mode": "lines+markers", "name": key, "x": months,
         "y": [slider.value * (m - 4 + k) for m in months], "line": s.line, "marker": s.marker}
        for k, (key, s) in enumerate(styles.items())
    ]
    bars = [
        {"type": "bar", "name": key, "x": months, "y": [slider.value + k + m for m in months],
         "marker": s.bar}
        for k, (key, s) in enumerate(styles.items())
    ]
    axes = {"xaxis": {"title": {"text": "Month"}}, "yaxis": {"title": {"text": "Cash (thousand)"}}}
    table = ChartTable(["Month", "Cash"], [[str(m), str(slider.value * m)] for m in months])
    charts[0].show({"data": lines, "layout": axes}, f"Demand is {slider.value}.", table)
    charts[1].show({"data": bars, "layout": axes}, f"Load at demand {slider.value}.", table)


guard = Guard(lambda found: setattr(trouble, "value", found.message))
slider.observe(guard(draw), "value")
fault = widgets.Button(description="Fail")
fault.on_click(guard(lambda button: 1 / 0))
draw()


def boxed(box, name, *children):
    panel = box(list(children))
    panel.add_class(name)
    return panel


controls = boxed(widgets.VBox, "capex-card", slider, fault)
controls.add_class("capex-controls")
verdict = boxed(widgets.VBox, "capex-card", widgets.HTML(
    '<h1 data-shop="Quenlow Graphics">Separate machines leave most money</h1>'
    '<p>One sentence with its reason.</p>'), trouble)
verdict.add_class("capex-verdict")
plots = boxed(widgets.GridBox, "capex-columns",
              *[boxed(widgets.VBox, "capex-card", chart) for chart in charts])
boxed(widgets.VBox, "capex-with-controls", controls,
      boxed(widgets.VBox, "capex-page", verdict, plots))
"""


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("pages")
    write_notebook(folder, "decide", IMPORTS, PAGE)
    with served(folder) as server:
        yield server


def test_slider_redraws_every_chart(server: Served, watch: Callable[..., Watched]) -> None:
    watched = watch(f"{server.url}decide")
    before = watched.wait_for_charts(2)
    pictures = watched.page.eval_on_selector_all(
        ".capex-chart .main-svg", "all => all.map(svg => svg.outerHTML)"
    )
    watched.page.get_by_role("slider", name="Demand").press("ArrowRight")
    watched.wait_for_new_drawing(before)
    changed = watched.page.eval_on_selector_all(
        ".capex-chart .main-svg", "all => all.map(svg => svg.outerHTML)"
    )
    assert changed[0] != pictures[0]
    assert watched.page.locator(".capex-chart-reading").all_inner_texts() == [
        "Demand is 11.",
        "Load at demand 11.",
    ]
    watched.check_quiet()


def test_law_a_chart_that_took_long_to_set_up_hears_of_changes(
    server: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch("about:blank")
    # A computer that needs 2.2 s for each widget's script: more than anywidget would wait.
    watched.page.add_init_script("""
        const make = URL.createObjectURL;
        URL.createObjectURL = (blob) => {
            for (const start = performance.now(); performance.now() < start + 2200; );
            return make.call(URL, blob);
        };
    """)
    watched.page.goto(f"{server.url}decide")
    before = watched.wait_for_charts(2)
    watched.page.get_by_role("slider", name="Demand").press("ArrowRight")
    watched.wait_for_new_drawing(before)
    watched.check_quiet()


def test_plain_figures_are_read_without_the_picture(
    server: Served, watch: Callable[..., Watched]
) -> None:
    page = watch(f"{server.url}decide").page
    chart = page.locator(".capex-chart").first
    chart.get_by_text("Show the figures").click()
    chart.get_by_role("table", name="Cumulative cash").wait_for()
    chart.get_by_role("rowheader", name="11", exact=True).wait_for()
    label = chart.locator("[role=img]").get_attribute("aria-label")
    assert label == "Cumulative cash. Demand is 10."
    page.get_by_role("slider", name="Demand").press("ArrowRight")
    chart.get_by_role("cell", name="121", exact=True).wait_for()


def test_a_fault_in_a_callback_is_said_and_the_page_lives_on(
    server: Served, watch: Callable[..., Watched]
) -> None:
    watched = watch(f"{server.url}decide")
    before = watched.wait_for_charts(2)
    watched.page.get_by_role("button", name="Fail").click()
    watched.page.get_by_text(re.compile(r"reference [0-9A-F]{6}")).wait_for()
    assert watched.drawn_versions() == before
    watched.page.get_by_role("slider", name="Demand").press("ArrowRight")
    watched.wait_for_new_drawing(before)


def test_a_page_that_fails_before_it_can_say_so_shows_our_words(
    tmp_path: Path, watch: Callable[..., Watched]
) -> None:
    write_notebook(tmp_path, "decide", "1 / 0")
    with served(tmp_path) as server:
        page = watch(server.url + "decide").page
        page.get_by_role("heading", name="This page cannot be shown").wait_for()
        said = page.locator("main").inner_text()
        assert "Reload this page" in said
        assert "Voil" not in said
        assert "cell" not in said


def test_scheme_is_switched_and_kept(server: Served, watch: Callable[..., Watched]) -> None:
    watched = watch(f"{server.url}decide", color_scheme="light")
    watched.wait_for_charts(2)
    ground = "getComputedStyle(document.body).backgroundColor"
    light = watched.page.evaluate(ground)
    watched.page.get_by_role("button", name="Switch to the dark page").click()
    watched.page.wait_for_function(
        "[...document.querySelectorAll('.capex-chart')].every(c => +c.dataset.drawn === 2)"
    )
    dark = watched.page.evaluate(ground)
    assert dark != light
    watched.page.reload()
    assert watched.page.evaluate(ground) == dark
    watched.check_quiet()


def test_page_fits_its_width_and_scrolls(server: Served, watch: Callable[..., Watched]) -> None:
    watched = watch(f"{server.url}decide", width=390, height=700)
    watched.wait_for_charts(2)
    root = "document.documentElement"
    for width in (390, 820, 1440):
        watched.page.set_viewport_size({"width": width, "height": 700})
        watched.page.wait_for_function(
            "[...document.querySelectorAll('.capex-chart-plot')]"
            ".every(plot => Math.abs(plot.clientWidth - plot.firstChild.clientWidth) <= 2)"
        )
        assert watched.page.evaluate(f"{root}.scrollWidth") <= width
        assert watched.page.evaluate(f"{root}.scrollHeight") > 700


def test_paper_is_light_and_fits_its_charts(server: Served, watch: Callable[..., Watched]) -> None:
    watched = watch(f"{server.url}decide", color_scheme="dark")
    watched.wait_for_charts(2)
    pictures = "[...document.querySelectorAll('.capex-chart-plot .main-svg')]"
    sizes = f"{pictures}.map(svg => +svg.getAttribute('width'))"
    ink = "document.querySelector('.capex-chart .xtitle').style.fill"
    screen = watched.page.evaluate(sizes), watched.page.evaluate(ink)
    watched.page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert set(watched.page.evaluate(sizes)) == {660}
    assert watched.page.evaluate(ink) == "rgb(26, 33, 41)" != screen[1]
    watched.page.evaluate("dispatchEvent(new Event('afterprint'))")
    watched.page.wait_for_function(f"{sizes}[0] !== 660")
    assert (watched.page.evaluate(sizes), watched.page.evaluate(ink)) == screen
    assert watched.page.pdf().count(b"/Type /Page\n") >= 1
    watched.check_quiet()


def test_a_page_left_alone_stays_connected(server: Served, watch: Callable[..., Watched]) -> None:
    """The server asks every 30 s whether the page is there; the first time must not end it."""
    watched = watch(f"{server.url}decide")
    watched.wait_for_charts(2)
    watched.page.wait_for_timeout(33_000)
    assert watched.dropped_sockets == []
    watched.check_quiet()


def test_security_headers_and_unknown_addresses(server: Served) -> None:
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(f"{server.url}nothing_here")
    assert refused.value.code == 404
    policy = refused.value.headers["Content-Security-Policy"]
    assert "frame-ancestors 'none'" in policy
    assert "default-src 'self'" in policy
    text = refused.value.read().decode()
    assert "https://" not in text
    refused.value.close()
    for path in ["voila/tree", "voila/api/contents", "voila/files/decide.ipynb", "capex/chart.py"]:
        with pytest.raises(urllib.error.HTTPError) as hidden:
            urllib.request.urlopen(server.url + path)
        assert hidden.value.code in {403, 404}
        hidden.value.close()


def test_foreign_host_names_are_refused(server: Served) -> None:
    request = urllib.request.Request(server.url, headers={"Host": "elsewhere.example"})
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(request)
    assert refused.value.code == 403
    refused.value.close()


def test_stops_on_an_interrupt(tmp_path: Path) -> None:
    write_notebook(tmp_path, "decide", "1")
    with served(tmp_path) as server:
        server.process.send_signal(signal.SIGINT)
        assert server.process.wait(timeout=15) == 0
        assert server.process.stdout is not None
        rest = server.process.stdout.read()
    assert rest.splitlines() == ["Press Ctrl+C to stop it.", "capex has stopped."]


def test_plain_voila_shows_the_page_too(tmp_path: Path, watch: Callable[..., Watched]) -> None:
    write_notebook(tmp_path, "decide", IMPORTS, PAGE)
    with held_port(None) as held:
        port = held.getsockname()[1]
    plain = ["-m", "voila", str(tmp_path), "--no-browser", "--Voila.ip=127.0.0.1", f"--port={port}"]
    with running(plain, r"http://127\.0\.0\.1:\d+/") as server:
        watched = watch(f"{server.url}voila/render/decide.ipynb")
        before = watched.wait_for_charts(2)
        watched.page.locator(".noUi-handle").press("ArrowRight")
        watched.wait_for_new_drawing(before)
