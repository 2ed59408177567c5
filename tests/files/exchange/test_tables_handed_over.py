"""Workbook, Parquet and netCDF: read back with libraries other than those that wrote them."""

from __future__ import annotations

import importlib

import numpy as np
import pytest
from some_fit import beside, demo_fit

import bodyfit
from bodyfit.errors import InputError, OutputError
from bodyfit.files.exchange.optional import optional


@pytest.fixture(scope="module")
def fit():
    return demo_fit("steel_stairs", frames=200)


@pytest.fixture(scope="module")
def book(fit, tmp_path_factory):
    pytest.importorskip("xlsxwriter", reason="workbooks are written with XlsxWriter: 'bodyfit[exchange]'")
    openpyxl = pytest.importorskip(
        "openpyxl", reason="workbooks are read back with openpyxl: 'bodyfit[test]'"
    )
    folder = tmp_path_factory.mktemp("book")
    bodyfit.export(fit, folder / "x.xlsx", beside=beside(folder / "fit"))
    return openpyxl.load_workbook(folder / "x.xlsx")


def column(sheet, name):
    heading = [cell.value for cell in sheet[1]]
    return [row[heading.index(name)].value for row in sheet.iter_rows(min_row=2)]


def test_angles_are_real_numbers_under_a_frozen_header(fit, book):
    sheet = book["angles"]
    assert sheet.freeze_panes == "B2"
    np.testing.assert_allclose(column(sheet, "time_s"), fit.poses.time, rtol=1e-14)
    knee = np.degrees(fit.poses.joint_angles["l_knee"]["flexion"])
    np.testing.assert_allclose(column(sheet, "l_knee_flexion_deg"), knee, rtol=1e-14)
    np.testing.assert_allclose(column(sheet, "l_knee_flexion_sd_deg"), 1.5, rtol=1e-12)


def test_events_and_strides_have_sheets_and_unknown_cells_stay_empty(book):
    assert column(book["events"], "event") == ["heel_strike", "toe_off", "mid_swing"]
    assert column(book["events"], "time_sd_s") == [0.012, None, 0.02]
    assert column(book["strides"], "stride_length_m") == [1.234, None]


def test_without_events_there_is_no_sheet_of_them(fit, tmp_path):
    openpyxl = pytest.importorskip(
        "openpyxl", reason="workbooks are read back with openpyxl: 'bodyfit[test]'"
    )
    bodyfit.export(fit, tmp_path / "x.xlsx")
    assert openpyxl.load_workbook(tmp_path / "x.xlsx").sheetnames == ["angles", "ranges", "definitions"]


def test_ranges_are_those_of_the_angles(fit, book):
    sheet = book["ranges"]
    row = [*zip(column(sheet, "joint"), column(sheet, "angle"), strict=True)].index(("l_knee", "flexion"))
    knee = np.degrees(fit.poses.joint_angles["l_knee"]["flexion"])
    for name, value in (("min_deg", knee.min()), ("max_deg", knee.max()), ("sd_over_time_deg", knee.std())):
        assert column(sheet, name)[row] == pytest.approx(value)
    assert column(sheet, "median_sd_deg")[row] == pytest.approx(1.5)


def test_definitions_explain_every_column_and_give_the_account(book):
    told = dict(zip(column(book["definitions"], "what"), column(book["definitions"], "meaning"), strict=True))
    assert {cell.value for cell in book["angles"][1]} <= set(told)
    assert told["software"] == f"bodyfit {bodyfit.__version__}" and told["body_model"] == "lower_body"
    assert "Not a medical device" in told["caution"] and "gyroscope" in told["sensors"]
    assert told["l_knee_flexion_deg"].endswith("takes l_thigh to l_calf, sign turned")


def test_parquet_keeps_every_digit_and_says_units(fit, tmp_path):
    from pyarrow import parquet

    bodyfit.export(fit, tmp_path / "x.parquet")
    table = parquet.read_table(tmp_path / "x.parquet")
    knee = np.degrees(fit.poses.joint_angles["l_knee"]["flexion"])
    np.testing.assert_array_equal(table["l_knee_flexion_deg"].to_numpy(), knee)
    np.testing.assert_array_equal(table["l_calf_y_m"].to_numpy(), fit.poses.positions["l_calf"][:, 1])
    assert table.schema.field("l_knee_flexion_deg").metadata[b"unit"] == b"deg"
    about = table.schema.metadata
    assert about[b"bodyfit.software"].decode() == f"bodyfit {bodyfit.__version__}"
    assert b"Not a medical device" in about[b"bodyfit.caution"]


@pytest.fixture(scope="module")
def netcdf(fit, tmp_path_factory):
    for needed in ("xarray", "netCDF4"):
        pytest.importorskip(needed, reason="netCDF is written with xarray and netCDF4: 'bodyfit[exchange]'")
    folder = tmp_path_factory.mktemp("nc")
    bodyfit.export(fit, folder / "x.nc", beside=beside(folder / "fit"))
    return folder / "x.nc"


def test_netcdf_opens_in_xarray(fit, netcdf):
    import xarray

    with xarray.open_dataset(netcdf) as data:
        np.testing.assert_array_equal(data["time"], fit.poses.time)
        knee = np.degrees(fit.poses.joint_angles["l_knee"]["flexion"])
        np.testing.assert_array_equal(data["l_knee_flexion"], knee)
        assert data["l_knee_flexion"].attrs["units"] == "degree"
        assert data["l_knee_flexion"].attrs["ancillary_variables"] == "l_knee_flexion_sd"
        turned = data["rotation"].sel(segment="l_calf").to_numpy()
        np.testing.assert_allclose(np.abs(np.sum(turned * fit.poses.rotations["l_calf"].as_quat(), 1)), 1)
        np.testing.assert_array_equal(data["position"].sel(segment="l_calf"), fit.poses.positions["l_calf"])
        assert data["event_event"].values.tolist() == ["heel_strike", "toe_off", "mid_swing"]
        assert np.isnan(data["stride_stride_length_m"].values[1])


def test_netcdf_opens_as_plain_hdf5(fit, netcdf):
    h5py = pytest.importorskip("h5py", reason="netCDF is read back with h5py: 'bodyfit[test]'")
    with h5py.File(netcdf) as file:
        hip = np.degrees(fit.poses.joint_angles["r_hip"]["flexion"])
        np.testing.assert_array_equal(file["r_hip_flexion"][:], hip)
        about = {
            name: np.asarray(value).astype(str).item()
            for name, value in file.attrs.items()
            if name in ("Conventions", "software", "caution")
        }
        assert about["Conventions"] == "CF-1.11"
        assert about["software"] == f"bodyfit {bodyfit.__version__}"
        assert "Not a medical device" in about["caution"]


# --- the choice of format ---


def test_an_unknown_ending_is_refused_with_the_known_ones(fit, tmp_path):
    with pytest.raises(InputError, match=r"\.xls'.*c3d, xlsx.*did you mean 'xlsx'"):
        bodyfit.export(fit, tmp_path / "x.xls")


def test_the_format_asked_for_wins_over_the_ending(fit, tmp_path):
    assert bodyfit.export(fit, tmp_path / "table.out", "parquet").format == "parquet"


@pytest.mark.parametrize(("ending", "package"), [("c3d", "ezc3d"), ("xlsx", "xlsxwriter"), ("nc", "xarray")])
def test_a_missing_library_is_named_with_how_to_install_it(ending, package, fit, tmp_path, monkeypatch):
    def without(name, *rest):
        if name == package:
            raise ImportError(f"No module named {name!r}")
        return real(name, *rest)

    real = importlib.import_module
    monkeypatch.setattr(importlib, "import_module", without)
    with pytest.raises(OutputError, match=rf"{package}.*pip install 'bodyfit\[exchange\]'"):
        bodyfit.export(fit, tmp_path / f"x.{ending}")
    assert not list(tmp_path.iterdir())


def test_damaged_events_are_refused(fit, tmp_path):
    (tmp_path / "events.csv").write_text("time_s,event\n1.0,heel_strike\n")
    with pytest.raises(InputError, match=r"events\.csv: no column 'side'"):
        bodyfit.export(fit, tmp_path / "x.parquet", beside=tmp_path)


def test_a_library_that_is_not_there_is_asked_for_by_name():
    assert optional("json", ".x").dumps([1]) == "[1]"
    with pytest.raises(OutputError, match=r"\.x: needs the Python package 'no_such_package'.* pip install"):
        optional("no_such_package", ".x")
