"""MusicXML's own schema, version 4.0, as the W3C Music Notation Community Group publishes it. It comes in the package
`musicxml` (MIT; the schema under the W3C Community Final Specification Agreement). The attributes of `xml:` and XLink
that it refers to are declared here."""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from lxml import etree

_XLINK = """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="http://www.w3.org/1999/xlink">
 <xs:attribute name="href" type="xs:anyURI"/> <xs:attribute name="type" type="xs:string"/>
 <xs:attribute name="role" type="xs:string"/> <xs:attribute name="title" type="xs:string"/>
 <xs:attribute name="show" type="xs:string"/> <xs:attribute name="actuate" type="xs:string"/>
</xs:schema>"""
_XML = """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="http://www.w3.org/XML/1998/namespace">
 <xs:attribute name="lang" type="xs:language"/> <xs:attribute name="space" type="xs:NCName"/>
 <xs:attribute name="base" type="xs:anyURI"/> <xs:attribute name="id" type="xs:ID"/>
</xs:schema>"""


class _Local(etree.Resolver):  # type: ignore[misc]
    """Nothing is fetched: what the schema imports is answered here."""

    def resolve(self, url: str, _: str, context: Any) -> Any:
        return self.resolve_string(_XLINK if url.endswith("xlink.xsd") else _XML, context)


@cache
def musicxml_schema() -> Any:
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_Local())
    package = find_spec("musicxml")  # not imported: only its file is wanted
    assert package is not None
    assert package.submodule_search_locations
    text = (Path(package.submodule_search_locations[0]) / "generate_classes" / "musicxml_4_0.xsd").read_bytes()
    return etree.XMLSchema(etree.fromstring(text, parser))


def faults(text: str) -> list[str]:
    """What the schema finds wrong with a MusicXML text."""
    parser = etree.XMLParser(no_network=True, load_dtd=False, resolve_entities=False)
    schema = musicxml_schema()
    schema.validate(etree.fromstring(text.encode(), parser))
    return [f"{one.line}: {one.message}" for one in schema.error_log]
