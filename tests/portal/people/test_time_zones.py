from portal.people.time_zones import place_of, time_zone_choices


def test_places_are_grouped_by_region_and_named_as_people_name_them() -> None:
    choices = dict(time_zone_choices())
    assert choices["UTC"] == "UTC"
    assert ("Asia/Seoul", "Seoul") in choices["Asia"]
    assert ("America/Argentina/Buenos_Aires", "Buenos Aires, Argentina") in choices["America"]
    assert place_of("America/North_Dakota/New_Salem") == "New Salem, North Dakota"
