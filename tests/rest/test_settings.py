"""What a site sets is what the service goes by; what it cannot use stops the start."""

import pytest

from api import create_app
from api.settings import BadSetting, Settings


def test_the_chance_allowed_at_night_is_the_site_s_own():
    given = Settings.from_environment({"CRIB_NIGHT_LIMIT_PERCENT": "7.5"})

    assert given.night_limit == pytest.approx(0.075)
    assert Settings.from_environment({}).night_limit == pytest.approx(0.05)


@pytest.mark.parametrize("text", ["0", "0.05", "51", "2,5", "two", "-1", "1e1", "nan"])
def test_a_chance_that_cannot_be_meant_stops_the_start(text):
    with pytest.raises(BadSetting, match="CRIB_NIGHT_LIMIT_PERCENT"):
        Settings.from_environment({"CRIB_NIGHT_LIMIT_PERCENT": text})


@pytest.mark.parametrize("percent", ["2", "9"])
def test_plans_keep_the_limit_that_was_set(store, shop, clock, percent):
    settings = Settings.from_environment(
        {"CRIB_DATABASE_URL": store.url, "CRIB_NIGHT_LIMIT_PERCENT": percent}
    )

    app = create_app(settings, store, clock)

    assert app.extensions["crib"].plans.night_limit == float(percent) / 100
