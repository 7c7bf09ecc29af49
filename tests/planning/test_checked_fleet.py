"""A small fleet with wheel checks, a symptom that nothing explains and readings by another procedure: every surface."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from datetime import date, datetime

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from dashboard.serve import APP
from fleetwear import cli
from fleetwear.planning.coverage import to_test
from fleetwear.planning.flags import narrow, read_flags
from fleetwear.planning.open_symptoms import open_symptoms
from fleetwear.planning.vehicle import read_vehicle
from fleetwear.reports.charts import risk_chart
from fleetwear.reports.flag_files import flag_file, to_csv, with_lead
from fleetwear.reports.joint_history import joint_histories
from fleetwear.reports.reading_file import reading_file
from fleetwear.reports.tables import joint_table, vehicle_table
from fleetwear.reports.vehicle_pdf import vehicle_pdf
from fleetwear.reports.vehicle_sheet import vehicle_sheet
from fleetwear.store import open_snapshot
from fleetwear.store.verifying import verify
from fleetwear.vocabulary import Outcome, WheelVerdict
from pipelines import load, nightly

LEFT, RIGHT = "left front lower ball joint", "right front lower ball joint"
DAYS = ("2024-11-01", "2025-05-01", "2025-11-01", "2026-05-01")


def tables() -> dict[str, str]:
    """Eight vans, and what is wrong with some: A1's wheel, A2's noise, A3's procedure, A4's missing weight class."""
    vehicles, visits, readings, services = [], [], [], []
    for k in range(8):
        weight = "" if k == 4 else "over 10,000 lb"
        vehicles.append(f'A{k},Van,2022-01-01,mi,thou,295/75R22.5,"{weight}"')
        for n, day in enumerate(DAYS):
            miles = 30_000 + 10_000 * n
            services.append(f"A{k},{day},{miles},10000,6")
            noise = "knock over bumps,yes,right front lower ball joint" if k == 2 and n == 3 else ",,"
            visits.append(f"A{k},{day},{miles},{noise}")
            play = 5 + 3 * (miles / 10_000) * (0.8 + 0.05 * k) + (-1) ** (k + n) + 4 * (k == 3 and n > 1)
            method = "pry bar" if (k == 3 and n == 3) or (k == 6 and n in (1, 2)) else "lever under tyre"
            readings += [f"A{k},{day},{LEFT},{direction},{method},{play:.0f}" for direction in ("in-out", "fore-aft")]
    readings.append(f"A2,{DAYS[3]},{RIGHT},in-out,lever under tyre,none seen")
    return {
        "vehicles": "unit,model,in service date,distance unit,play unit,tyre size,weight class\n" + "\n".join(vehicles),
        "positions": "model,axle,side,place,kind\nVan,front,left,lower,ball joint\nVan,front,right,lower,ball joint",
        "limits": "kind,method,limit (in),basis,source,valid from\n"
        "ball joint,lever under tyre,0.033,maker,manual,2020-01-01\n"
        "ball joint,lever under tyre,0.026,maker,manual revised,2026-06-01",
        "services": "unit,service date,odometer (mi),interval (mi),interval months\n" + "\n".join(services),
        "visits": "unit,visit date,odometer (mi),complaint,symptom confirmed,symptom joint\n" + "\n".join(visits),
        "readings": "unit,visit date,joint,direction,method,play (thou)\n" + "\n".join(readings),
        "wheel_checks": "unit,visit date,axle,side,wheel part,support,read at,bearings adjusted,play\n"
        "A1,2025-11-01,front,left,steering linkage,loaded,tyre tread,yes,0.2 in\n"
        "A1,2026-05-01,front,left,steering linkage,loaded,tyre tread,yes,0.501 in\n"
        "A1,2026-05-01,front,right,steering linkage,loaded,rim,yes,0.5 in\n"
        "A4,2026-05-01,front,left,steering linkage,loaded,tyre tread,yes,0.4 in",
    }


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    folder = tmp_path_factory.mktemp("checked_fleet")
    paths = []
    for name, text in tables().items():
        paths.append(folder / f"{name}.csv")
        paths[-1].write_text(text + "\n")
    for summary in load.run(folder / "store", paths, date(2026, 11, 20), loaded_at=datetime(2026, 11, 20)):
        assert summary.rows_quarantined == 0, summary.reasons
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("sys.argv", ["fleetwear", "limits", "--apply", "49 cfr 570", "--store", str(folder / "store")])
        with pytest.raises(SystemExit) as ended:
            cli.main()
        assert ended.value.code == 0
    nightly.run(folder / "store", as_of=date(2026, 11, 1), made_at=datetime(2026, 11, 2))
    return folder / "store"


@pytest.fixture(scope="module")
def con(store):
    con = open_snapshot(store)
    yield con
    con.close()


@pytest.fixture(scope="module")
def flags(con):
    return read_flags(con)


def run(monkeypatch, capsys, *arguments):
    monkeypatch.setattr("sys.argv", ["fleetwear", *(str(one) for one in arguments)])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    said = capsys.readouterr()
    return ended.value.code, said.out, said.err


def test_a_wheel_over_its_statute_makes_its_vehicle_over_limit_and_no_joint(con, flags):
    vehicle = flags.vehicles.set_index("unit").loc["A1"]
    assert vehicle["outcome"] == Outcome.OVER_LIMIT
    assert "0.501 in (12.7254 mm)" in vehicle["reason"]
    assert "49 CFR 570.60, Table 3 (beads of 18.01 in and over, over 10,000 lb)" in vehicle["reason"]
    assert "a limit of the wheel and its linkage, not of one joint" in vehicle["reason"]
    assert pd.isna(vehicle["position_id"])
    assert Outcome.OVER_LIMIT not in set(flags.joints.loc[flags.joints["unit"] == "A1", "outcome"])
    strict = read_flags(con, accepted_risk=0.5).vehicles.set_index("unit")
    assert strict.loc["A1", "outcome"] == Outcome.OVER_LIMIT
    wheels = read_vehicle(con, "A1").wheels
    assert wheels["verdict"].tolist() == [WheelVerdict.OVER, WheelVerdict.WITHIN, WheelVerdict.WITHIN]
    assert wheels["is_last"].tolist() == [True, True, False]
    assert "(Indicative: limit is read at the tyre tread, check rim.)" in wheels["says"].iloc[1]


def test_an_unknown_weight_class_is_asked_for(con):
    says = read_vehicle(con, "A4").wheels["says"].iloc[0]
    assert "depends on which of 0.25 in (6.35 mm), 0.5 in (12.7 mm) applies" in says
    assert "weight class" in says


def test_a_confirmed_noise_that_nothing_explains_asks_for_the_other_direction(con, flags):
    vehicle = flags.vehicles.set_index("unit").loc["A2"]
    assert vehicle["outcome"] == Outcome.SYMPTOM_CONFIRMED
    assert "No movement found so far explains it: test it fore-aft first" in vehicle["reason"]
    assert "calls for replacement" not in vehicle["reason"]
    (line,) = open_symptoms(read_vehicle(con, "A2"))
    assert "confirmed on the road; at the right front lower ball joint: no movement where it was tested" in line


def test_limits_go_by_date(flags):
    own = flags.joints[(flags.joints["joint"] == LEFT) & (flags.joints["direction"] == "in-out")].set_index("unit")
    assert own["judged_limit_mm"].tolist() == pytest.approx([0.033 * 25.4] * 8)
    assert own["limit_mm"].tolist() == pytest.approx([0.026 * 25.4] * 8)
    assert own.loc["A7", "last_largest_mm"] == pytest.approx(27 * 0.0254)
    assert own.loc["A7", "outcome"] == Outcome.CROSSES, "27 thou passes the 33 of its day, and not the 26 to come"
    assert own.loc["A7", "p_over_next"] > 0.9
    changed = "Its limit is 26 thou from 2026-06-01 on (manual revised); on the day of that reading it was 33 thou"
    assert changed in own.loc["A0", "reason"]
    assert Outcome.OVER_LIMIT not in set(own["outcome"])


def test_another_procedure_is_said_to_be_indicative_everywhere(con, flags, store, monkeypatch, capsys):
    joint = flags.joints[(flags.joints["unit"] == "A3") & (flags.joints["joint"] == LEFT)]
    words = "indicative: limit is for lever under tyre, reading pry bar"
    assert set(joint["indicative"]) == {words}
    assert joint["reason"].str.contains("Indicative: limit is for lever under tyre, reading pry bar").all()
    assert (joint["procedure_sd_mm"] > 0.0).all()
    others = flags.joints[(flags.joints["unit"] == "A5") & (flags.joints["joint"] == LEFT)]
    assert (others["procedure_sd_mm"] == 0.0).all()
    assert joint_table(joint)["mark"].tolist() == ["indicative"] * 2
    led = narrow(flags, unit="A3")
    assert "Indicative:" in led.vehicles["reason"].iloc[0]
    assert flag_file(led.run, with_lead(led))["indicative"].tolist() == [words]
    assert b"Indicative: limit is for lever" in to_csv(flag_file(led.run, with_lead(led)))
    pressing = joint.assign(
        next_service_date_05=joint["next_service_date_50"], next_service_date_95=joint["next_service_date_50"]
    )
    chart = json.dumps(risk_chart(pressing, as_of=flags.run.as_of))
    assert "fore-aft, indicative" in " ".join(chart.split())
    record = read_vehicle(con, "A3")
    histories = joint_histories(record)
    assert "indicative" in histories[0].limit_label
    sheet = vehicle_sheet(record, histories)
    assert [row["indicative"] for row in sheet["joints"][:2]] == ["indicative"] * 2
    assert any("(indicative)" in line for line in sheet["due"])
    file = pd.read_csv(io.BytesIO(to_csv(reading_file(record))))
    assert file.loc[file["method"] == "pry bar", "compared"].unique().tolist() == ["indicative"]
    assert file.loc[file["method"] != "pry bar", "compared"].unique().tolist() == ["as the limit is stated"]
    _, out, _ = run(monkeypatch, capsys, "vehicle", "A3", "--store", store)
    assert "indicative" in out
    _, out, _ = run(monkeypatch, capsys, "flags", "--joints", "--all", "--store", store)
    assert "indicative" in out


def test_readings_to_take_away_are_judged_by_the_limit_of_their_day(con):
    file = reading_file(read_vehicle(con, "A7"))
    assert set(file["limit_source"]) == {"manual"}
    assert set(file["over_limit"]) == {"no"}


def test_coverage_of_the_last_visit(con, flags, store, monkeypatch, capsys):
    vehicles = flags.vehicles.set_index("unit")
    assert vehicles.loc["A0", ["joints_to_test", "joints_untested", "joints_tested_in_part"]].tolist() == [2, 1, 0]
    assert vehicles.loc["A2", ["joints_to_test", "joints_untested", "joints_tested_in_part"]].tolist() == [2, 0, 1]
    asked = to_test(narrow(flags, unit="A2"))
    assert asked[["joint", "direction", "why"]].to_numpy().tolist() == [
        [RIGHT, "fore-aft", "not tested since it was fitted"]
    ]
    table = vehicle_table(flags.vehicles).set_index("unit")
    assert table.loc["A0", "coverage"] == "1 of 2 joints not tested at the last visit, 2026-05-01"
    assert flag_file(flags.run, with_lead(flags))["joints_not_tested_at_last_visit"].sum() == 7
    code, out, err = run(monkeypatch, capsys, "coverage", "A0", "--store", store, "--format", "csv")
    assert code == 0
    assert pd.read_csv(io.StringIO(out))["direction"].tolist() == ["fore-aft", "in-out"]
    assert "A0  1 of 2 joints not tested at the last visit, 2026-05-01." in err
    _, out, _ = run(monkeypatch, capsys, "flags", "--all", "--store", store)
    assert "1 of 2" in out


def test_the_printed_page_has_coverage_symptoms_and_wheel_checks(con):
    import pypdf

    def words(unit):
        record = read_vehicle(con, unit)
        without_charts = [replace(one, is_read=False) for one in joint_histories(record)]
        pages = pypdf.PdfReader(io.BytesIO(vehicle_pdf(record, histories=without_charts))).pages
        assert len(pages) == 1
        return " ".join(pages[0].extract_text().replace("\u200b", "").split())

    wheel = words("A1")
    assert "Now: Left front wheel, steering linkage: over limit, as measured below." in wheel
    assert "Wheel checks, as measured" in wheel
    assert "1 of 2 joints not tested at the last visit, 2026-05-01." in wheel
    noise = words("A2")
    assert "Symptoms, and what moved under load" in noise
    assert "test it fore-aft first, before anything is replaced" in noise


def shown(app):
    html = [element.proto.body for element in app.get("html")]
    return "\n".join([*html, *(element.value for element in (*app.markdown, *app.subheader))])


def test_the_dashboard_shows_them(monkeypatch, store):
    monkeypatch.setenv("FLEETWEAR_STORE", str(store))
    app = AppTest.from_file(str(APP), default_timeout=60).run()
    assert "Not tested since it was fitted" not in shown(app)  # worked out only where it is asked for
    app.session_state["to_test_section"] = True
    page = shown(app.run())
    assert "1 of 2 joints not tested at the last visit, 2026-05-01." in page
    assert "Not tested since it was fitted: right front lower ball joint, fore-aft, in-out." in page
    assert "(Indicative: limit is for lever under tyre, reading pry bar.)" in page

    def script():
        from dashboard.messages import told_calmly
        from dashboard.tasks import one_vehicle

        with told_calmly():
            one_vehicle.show()

    for unit, words in (
        ("A1", ["Wheel checks", "Measured again since.", "0.501 in (12.7254 mm)", "49 CFR 570.60, Table 3"]),
        ("A2", ["Symptoms, and what moved under load", "test it fore-aft first"]),
    ):
        app = AppTest.from_function(script, default_timeout=60)
        app.query_params["unit"] = unit
        text = shown(app.run())
        assert not app.exception
        for said in words:
            assert said in text


def test_limits_are_listed_with_basis_and_source(store, monkeypatch, capsys):
    _, out, _ = run(monkeypatch, capsys, "limits", "--store", store, "--format", "json")
    listed = json.loads(out)
    assert [row["what"] for row in listed] == ["joint"] * 2 + ["wheel"] * 4
    assert {row["basis"] for row in listed} == {"maker", "statute"}
    _, out, err = run(monkeypatch, capsys, "limits", "--statute", "--format", "csv")
    assert pd.read_csv(io.StringIO(out))["limit"].dropna().tolist() == [
        "0.25 in",
        "0.25 in",
        "0.375 in",
        "0.5 in",
        "0.125 in",
    ]
    assert "binds nobody by itself" in err
    code, out, _ = run(monkeypatch, capsys, "limits", "--apply", "49 CFR 570", "--store", store)
    assert code == 0
    assert "0 rows in, 4 known before" in out
    code, _, err = run(monkeypatch, capsys, "limits", "--apply", "nothing", "--store", store)
    assert code == 1
    assert '"2014/45/EU"' in err


def test_the_store_is_whole(store):
    assert verify(store).wrong == ()
