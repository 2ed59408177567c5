"""An option for what takes minutes."""


def pytest_addoption(parser):
    parser.addoption("--slow", action="store_true", help="the hour-long capture too")
