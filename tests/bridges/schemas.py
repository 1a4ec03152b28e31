"""What the standards ask of our files, written as schemas; from memory of their texts.

Only the parts of each that a file of bridges uses: anything else in a file is a fault.
"""

_POSITION = {
    "type": "array",
    "minItems": 2,
    "maxItems": 3,
    "prefixItems": [
        {"type": "number", "minimum": -180, "maximum": 180},
        {"type": "number", "minimum": -90, "maximum": 90},
        {"type": "number"},
    ],
}
# RFC 7946, sections 3.1 to 3.3; section 4 takes away "crs", section 7.1 keeps the
# members of other types out of a feature collection.
GEOJSON = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "type": "object",
    "required": ["type", "features"],
    "properties": {
        "type": {"const": "FeatureCollection"},
        "features": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["type", "geometry", "properties"],
                "properties": {
                    "type": {"const": "Feature"},
                    "id": {"type": ["string", "number"]},
                    "geometry": {
                        "type": "object",
                        "required": ["type", "coordinates"],
                        "properties": {
                            "type": {"const": "Point"},
                            "coordinates": _POSITION,
                        },
                        "additionalProperties": False,
                    },
                    "properties": {"type": ["object", "null"]},
                },
                "additionalProperties": False,
            },
        },
    },
    "not": {
        "anyOf": [
            {"required": [name]}
            for name in ("crs", "geometry", "properties", "coordinates")
        ]
    },
    "additionalProperties": False,
}

# GPX 1.1: gpxType and wptType are sequences, latitudes reach 90 and longitudes end
# just short of 180.
GPX = """<?xml version="1.0"?>
<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" elementFormDefault="qualified"
    targetNamespace="http://www.topografix.com/GPX/1/1"
    xmlns="http://www.topografix.com/GPX/1/1">
  <xs:element name="gpx"><xs:complexType>
    <xs:sequence>
      <xs:element name="wpt" minOccurs="0" maxOccurs="unbounded"><xs:complexType>
        <xs:sequence>
          <xs:element name="ele" type="xs:decimal" minOccurs="0"/>
          <xs:element name="time" type="xs:dateTime" minOccurs="0"/>
          <xs:element name="magvar" type="xs:decimal" minOccurs="0"/>
          <xs:element name="geoidheight" type="xs:decimal" minOccurs="0"/>
          <xs:element name="name" type="xs:string" minOccurs="0"/>
          <xs:element name="cmt" type="xs:string" minOccurs="0"/>
          <xs:element name="desc" type="xs:string" minOccurs="0"/>
          <xs:element name="src" type="xs:string" minOccurs="0"/>
          <xs:element name="link" minOccurs="0" maxOccurs="unbounded"><xs:complexType>
            <xs:sequence>
              <xs:element name="text" type="xs:string" minOccurs="0"/>
              <xs:element name="type" type="xs:string" minOccurs="0"/>
            </xs:sequence>
            <xs:attribute name="href" type="xs:anyURI" use="required"/>
          </xs:complexType></xs:element>
          <xs:element name="sym" type="xs:string" minOccurs="0"/>
          <xs:element name="type" type="xs:string" minOccurs="0"/>
        </xs:sequence>
        <xs:attribute name="lat" use="required"><xs:simpleType>
          <xs:restriction base="xs:decimal">
            <xs:minInclusive value="-90"/><xs:maxInclusive value="90"/>
          </xs:restriction></xs:simpleType></xs:attribute>
        <xs:attribute name="lon" use="required"><xs:simpleType>
          <xs:restriction base="xs:decimal">
            <xs:minInclusive value="-180"/><xs:maxExclusive value="180"/>
          </xs:restriction></xs:simpleType></xs:attribute>
      </xs:complexType></xs:element>
    </xs:sequence>
    <xs:attribute name="version" type="xs:string" use="required" fixed="1.1"/>
    <xs:attribute name="creator" type="xs:string" use="required"/>
  </xs:complexType></xs:element>
</xs:schema>"""

# OGC KML 2.2 (07-147r2): a feature's own parts come before its geometry, in this
# order; ids are XML ids and so unique.
KML = """<?xml version="1.0"?>
<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" elementFormDefault="qualified"
    targetNamespace="http://www.opengis.net/kml/2.2"
    xmlns="http://www.opengis.net/kml/2.2">
  <xs:element name="kml"><xs:complexType><xs:sequence>
    <xs:element name="Document"><xs:complexType><xs:sequence>
      <xs:element name="name" type="xs:string" minOccurs="0"/>
      <xs:element name="description" type="xs:string" minOccurs="0"/>
      <xs:element name="Placemark" minOccurs="0" maxOccurs="unbounded">
        <xs:complexType><xs:sequence>
          <xs:element name="name" type="xs:string" minOccurs="0"/>
          <xs:element name="description" type="xs:string" minOccurs="0"/>
          <xs:element name="ExtendedData" minOccurs="0"><xs:complexType><xs:sequence>
            <xs:element name="Data" minOccurs="0" maxOccurs="unbounded">
              <xs:complexType><xs:sequence>
                <xs:element name="displayName" type="xs:string" minOccurs="0"/>
                <xs:element name="value" type="xs:string"/>
              </xs:sequence><xs:attribute name="name" type="xs:string"/>
            </xs:complexType></xs:element>
          </xs:sequence></xs:complexType></xs:element>
          <xs:element name="Point"><xs:complexType><xs:sequence>
            <xs:element name="coordinates"><xs:simpleType>
              <xs:restriction base="xs:string">
                <xs:pattern value="-?\\d+(\\.\\d+)?,-?\\d+(\\.\\d+)?(,-?\\d+(\\.\\d+)?)?"/>
              </xs:restriction></xs:simpleType></xs:element>
          </xs:sequence></xs:complexType></xs:element>
        </xs:sequence><xs:attribute name="id" type="xs:ID"/></xs:complexType>
      </xs:element>
    </xs:sequence></xs:complexType></xs:element>
  </xs:sequence></xs:complexType></xs:element>
</xs:schema>"""
