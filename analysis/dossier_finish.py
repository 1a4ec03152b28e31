"""What the layout library leaves undone of PDF/UA-1, done before the file is written.

Given to the library as its documented ``finisher``. It works on the library's own
objects (``pydyf``): dictionaries whose values are written as they stand, references
as ``b"12 0 R"``.

- the PDF/UA-1 identifier in the XMP packet, and the schema by which PDF/A lets it in
  (ISO 14289-1 clause 5, ISO 19005-3 clause 6.6.2.3);
- running heads and feet marked as artifacts, since they are not content (ISO 14289-1
  clause 7.1, from memory);
- the tree by which a cell finds its headers, and each header's direction (ISO 32000-1
  14.7.2 and 14.8.5.7, from memory);
- the place of each figure in the page's own units, which the library gives in CSS
  pixels from the top left.
"""

import pydyf

# Raised whenever anything here changes, so that kept files are drawn again.
FINISH = 2
CLOSING = b"</rdf:RDF>"
POINTS_PER_PIXEL = 0.75

UA_IDENTIFIER = b"""<rdf:Description rdf:about=""
 xmlns:pdfuaid="http://www.aiim.org/pdfua/ns/id/">
<pdfuaid:part>1</pdfuaid:part></rdf:Description>
<rdf:Description rdf:about=""
 xmlns:pdfaExtension="http://www.aiim.org/pdfa/ns/extension/"
 xmlns:pdfaSchema="http://www.aiim.org/pdfa/ns/schema#"
 xmlns:pdfaProperty="http://www.aiim.org/pdfa/ns/property#">
<pdfaExtension:schemas><rdf:Bag><rdf:li rdf:parseType="Resource">
<pdfaSchema:namespaceURI>http://www.aiim.org/pdfua/ns/id/</pdfaSchema:namespaceURI>
<pdfaSchema:prefix>pdfuaid</pdfaSchema:prefix>
<pdfaSchema:schema>PDF/UA identification schema</pdfaSchema:schema>
<pdfaSchema:property><rdf:Seq><rdf:li rdf:parseType="Resource">
<pdfaProperty:category>internal</pdfaProperty:category>
<pdfaProperty:description>Part of ISO 14289 this file follows</pdfaProperty:description>
<pdfaProperty:name>part</pdfaProperty:name>
<pdfaProperty:valueType>Integer</pdfaProperty:valueType>
</rdf:li></rdf:Seq></pdfaSchema:property>
</rdf:li></rdf:Bag></pdfaExtension:schemas></rdf:Description>
"""


def finish(document, pdf):
    """Finish one PDF in place."""
    _identify(pdf)
    reached = _reached(pdf)
    _set_running_heads_apart(pdf, reached)
    _index_headers(pdf, reached)
    _place_figures(pdf, reached)


def _object(pdf, reference):
    return pdf.objects[int(reference.split()[0])]


def _identify(pdf):
    packet = _object(pdf, pdf.catalog["Metadata"])
    [content] = packet.stream
    before, closing, after = content.rpartition(CLOSING)
    packet.stream = [before + UA_IDENTIFIER + closing + after]


def _reached(pdf):
    """Return the structure elements that hang on the tree, by their reference."""
    root = _object(pdf, pdf.catalog["StructTreeRoot"])
    found, waiting = {}, list(root["K"])
    while waiting:
        reference = waiting.pop()
        if not isinstance(reference, bytes):
            continue  # A mark on the page: a number.
        element = _object(pdf, reference)
        if element.get("Type") != "/StructElem":
            continue
        found[reference] = element
        waiting.extend(element["K"])
    return found


def _set_running_heads_apart(pdf, reached):
    """Turn marks whose element hangs on nothing into artifacts.

    The library makes elements for what stands in page margins and leaves them off the
    tree; the marks in the page would then point at nothing.
    """
    root = _object(pdf, pdf.catalog["StructTreeRoot"])
    numbers = _object(pdf, root["ParentTree"])["Nums"]
    owners = dict(zip(numbers[::2], numbers[1::2], strict=True))
    for page in pdf.objects:
        if not (isinstance(page, pydyf.Dictionary) and page.get("Type") == "/Page"):
            continue
        here = owners[page["StructParents"]]
        loose = {mark for mark, owner in enumerate(here) if owner not in reached}
        _mark_apart(_object(pdf, page["Contents"]).stream, loose)
        for mark in loose:
            here[mark] = b"null"
    for one in pdf.objects:
        is_element = isinstance(one, pydyf.Dictionary) and (
            one.get("Type") == "/StructElem"
        )
        if is_element and one.reference not in reached:
            # Left as an empty object: the writer miscounts ones set free.
            one.clear()


def _mark_apart(content, loose):
    """A mark is three items of a page's content: ``/Span``, its number, ``BDC``."""
    for place, one in enumerate(content):
        if isinstance(one, pydyf.Dictionary) and one.get("MCID") in loose:
            content[place - 1] = "/Artifact"
            content[place] = pydyf.Dictionary({"Type": "/Pagination"})


def _index_headers(pdf, reached):
    """Let cells find their headers by name, and say which way each header looks."""
    names = pydyf.Array()
    found = {}
    for reference, element in reached.items():
        if element["S"] != "/TH":
            continue
        row = reached[element["P"]]
        is_column = reached[row["P"]]["S"] == "/THead"
        element["A"]["Scope"] = "/Column" if is_column else "/Row"
        if "ID" in element:
            found[element["ID"].string] = reference
    for name in sorted(found):
        names.append(pydyf.String(name))
        names.append(found[name])
    if names:
        root = _object(pdf, pdf.catalog["StructTreeRoot"])
        limits = pydyf.Array([names[0], names[-2]])
        leaf = pydyf.Dictionary({"Limits": limits, "Names": names})
        pdf.add_object(leaf)
        root["IDTree"] = pydyf.Dictionary({"Kids": pydyf.Array([leaf.reference])})


def _place_figures(pdf, reached):
    for element in reached.values():
        if element["S"] != "/Figure" or "Pg" not in element:
            continue
        height = _object(pdf, element["Pg"])["MediaBox"][3]
        x1, y1, x2, y2 = (POINTS_PER_PIXEL * one for one in element["A"]["BBox"])
        element["A"]["BBox"] = pydyf.Array([x1, height - y2, x2, height - y1])
