"""What a record of the federal inventory holds, item by item, and its codes.

The layout of the Recording and Coding Guide, report FHWA-PD-96-001 (December 1995), as
the FHWA's record format page gives it: 118 fields in 389 characters, and the same 118
in the same order in the delimited files. Codes are those of the guide, worded shortly.
"""

from __future__ import annotations

from dataclasses import dataclass

# Item, width, kind, header in delimited files, what it is. Kinds: text; code (text of a
# list); dms (degrees, minutes, seconds); year; month (MMYY); else a number by its
# decimals and unit, the decimals implied in fixed-width files and written in others.
_ITEMS = """
1     3 code      STATE_CODE_001             State
8    15 text      STRUCTURE_NUMBER_008       Structure number
5A    1 code      RECORD_TYPE_005A           Record type
5B    1 code      ROUTE_PREFIX_005B          Route prefix
5C    1 code      SERVICE_LEVEL_005C         Designated level of service
5D    5 text      ROUTE_NUMBER_005D          Route number
5E    1 code      DIRECTION_005E             Directional suffix
2     2 text      HIGHWAY_DISTRICT_002       Highway agency district
3     3 code      COUNTY_CODE_003            County
4     5 code      PLACE_CODE_004             Place
6A   24 text      FEATURES_DESC_006A         Features crossed
6B    1 code      CRITICAL_FACILITY_006B     Critical facility
7    18 text      FACILITY_CARRIED_007       Facility carried
9    25 text      LOCATION_009               Location in words
10    4 2_m       MIN_VERT_CLR_010           Least clearance of the route
11    7 3_km      KILOPOINT_011              Kilometerpoint
12    1 code      BASE_HWY_NETWORK_012       Base highway network
13A  10 text      LRS_INV_ROUTE_013A         LRS route
13B   2 code      SUBROUTE_NO_013B           LRS subroute
16    8 dms       LAT_016                    Latitude
17    9 dms       LONG_017                   Longitude
19    3 0_km      DETOUR_KILOS_019           Detour
20    1 code      TOLL_020                   Toll
21    2 code      MAINTENANCE_021            Maintenance responsibility
22    2 code      OWNER_022                  Owner
26    2 code      FUNCTIONAL_CLASS_026       Functional class
27    4 year      YEAR_BUILT_027             Year built
28A   2 0         TRAFFIC_LANES_ON_028A      Lanes on it
28B   2 0         TRAFFIC_LANES_UND_028B     Lanes under it
29    6 0         ADT_029                    Average daily traffic
30    4 year      YEAR_ADT_030               Year of ADT
31    1 code      DESIGN_LOAD_031            Design load
32    4 1_m       APPR_WIDTH_MT_032          Approach roadway width
33    1 code      MEDIAN_CODE_033            Median
34    2 0_deg     DEGREES_SKEW_034           Skew
35    1 code      STRUCTURE_FLARED_035       Structure flared
36A   1 code      RAILINGS_036A              Bridge railings
36B   1 code      TRANSITIONS_036B           Transitions
36C   1 code      APPR_RAIL_036C             Approach guardrail
36D   1 code      APPR_RAIL_END_036D         Approach guardrail ends
37    1 code      HISTORY_037                Historical significance
38    1 code      NAVIGATION_038             Navigation control
39    4 1_m       NAV_VERT_CLR_MT_039        Navigation vertical clearance
40    5 1_m       NAV_HORR_CLR_MT_040        Navigation horizontal clearance
41    1 code      OPEN_CLOSED_POSTED_041     Open, posted or closed
42A   1 code      SERVICE_ON_042A            Type of service on
42B   1 code      SERVICE_UND_042B           Type of service under
43A   1 code      STRUCTURE_KIND_043A        Main spans: material
43B   2 code      STRUCTURE_TYPE_043B        Main spans: design
44A   1 code      APPR_KIND_044A             Approach spans: material
44B   2 code      APPR_TYPE_044B             Approach spans: design
45    3 0         MAIN_UNIT_SPANS_045        Spans in main unit
46    4 0         APPR_SPANS_046             Approach spans
47    3 1_m       HORR_CLR_MT_047            Clear width of the route
48    5 1_m       MAX_SPAN_LEN_MT_048        Longest span
49    6 1_m       STRUCTURE_LEN_MT_049       Length of the structure
50A   3 1_m       LEFT_CURB_MT_050A          Left curb/sidewalk
50B   3 1_m       RIGHT_CURB_MT_050B         Right curb/sidewalk
51    4 1_m       ROADWAY_WIDTH_MT_051       Roadway between curbs
52    4 1_m       DECK_WIDTH_MT_052          Deck out to out
53    4 2_m       VERT_CLR_OVER_MT_053       Least clearance over the roadway
54A   1 code      VERT_CLR_UND_REF_054A      Underclearance reference feature
54B   4 2_m       VERT_CLR_UND_054B          Least vertical underclearance
55A   1 code      LAT_UND_REF_055A           Lateral underclearance reference
55B   3 1_m       LAT_UND_MT_055B            Least lateral underclearance, right
56    3 1_m       LEFT_LAT_UND_MT_056        Least lateral underclearance, left
58    1 code      DECK_COND_058              Deck condition
59    1 code      SUPERSTRUCTURE_COND_059    Superstructure condition
60    1 code      SUBSTRUCTURE_COND_060      Substructure condition
61    1 code      CHANNEL_COND_061           Channel and protection
62    1 code      CULVERT_COND_062           Culvert condition
63    1 code      OPR_RATING_METH_063        Operating rating method
64    3 1_t       OPERATING_RATING_064       Operating rating
65    1 code      INV_RATING_METH_065        Inventory rating method
66    3 1_t       INVENTORY_RATING_066       Inventory rating
67    1 code      STRUCTURAL_EVAL_067        Structural evaluation
68    1 code      DECK_GEOMETRY_EVAL_068     Deck geometry
69    1 code      UNDCLRENCE_EVAL_069        Underclearances
70    1 code      POSTING_EVAL_070           Bridge posting
71    1 code      WATERWAY_EVAL_071          Waterway adequacy
72    1 code      APPR_ROAD_EVAL_072         Approach roadway alignment
75A   2 code      WORK_PROPOSED_075A         Type of work proposed
75B   1 code      WORK_DONE_BY_075B          Work done by
76    6 1_m       IMP_LEN_MT_076             Length of improvement
90    4 month     DATE_OF_INSPECT_090        Inspection date
91    2 0_months  INSPECT_FREQ_MONTHS_091    Inspection interval
92A   3 code      FRACTURE_092A              Fracture-critical inspection
92B   3 code      UNDWATER_LOOK_SEE_092B     Underwater inspection
92C   3 code      SPEC_INSPECT_092C          Other special inspection
93A   4 month     FRACTURE_LAST_DATE_093A    Date of fracture-critical inspection
93B   4 month     UNDWATER_LAST_DATE_093B    Date of underwater inspection
93C   4 month     SPEC_LAST_DATE_093C        Date of other special inspection
94    6 0_$1000   BRIDGE_IMP_COST_094        Bridge improvement cost
95    6 0_$1000   ROADWAY_IMP_COST_095       Roadway improvement cost
96    6 0_$1000   TOTAL_IMP_COST_096         Total project cost
97    4 year      YEAR_OF_IMP_097            Year of cost estimate
98A   3 code      OTHER_STATE_CODE_098A      Border bridge: other state
98B   2 0_percent OTHER_STATE_PCNT_098B      Border bridge: share
99   15 text      OTHR_STATE_STRUC_NO_099    Border bridge: other number
100   1 code      STRAHNET_HIGHWAY_100       STRAHNET designation
101   1 code      PARALLEL_STRUCTURE_101     Parallel structure
102   1 code      TRAFFIC_DIRECTION_102      Direction of traffic
103   1 code      TEMP_STRUCTURE_103         Temporary structure
104   1 code      HIGHWAY_SYSTEM_104         NHS
105   1 code      FEDERAL_LANDS_105          Federal lands highways
106   4 year      YEAR_RECONSTRUCTED_106     Year reconstructed
107   1 code      DECK_STRUCTURE_TYPE_107    Deck structure type
108A  1 code      SURFACE_TYPE_108A          Wearing surface
108B  1 code      MEMBRANE_TYPE_108B         Membrane
108C  1 code      DECK_PROTECTION_108C       Deck protection
109   2 0_percent PERCENT_ADT_TRUCK_109      Truck share of ADT
110   1 code      NATIONAL_NETWORK_110       National truck network
111   1 code      PIER_PROTECTION_111        Pier/abutment protection
112   1 code      BRIDGE_LEN_IND_112         Long enough for the inventory
113   1 code      SCOUR_CRITICAL_113         Scour critical
114   6 0         FUTURE_ADT_114             Future ADT
115   4 year      YEAR_OF_FUTURE_ADT_115     Year of future ADT
116   4 1_m       MIN_NAV_CLR_MT_116         Clearance of a lift bridge
"""


@dataclass(frozen=True)
class Item:
    number: str
    width: int
    kind: str
    header: str
    label: str
    # Positions in a fixed-width record, from 0, the end not included.
    start: int
    # Of numbers: implied decimals, unit.
    decimals: int | None
    unit: str

    @property
    def end(self):
        return self.start + self.width

    @property
    def words(self):
        """How a person finds it in the guide and in the file."""
        return f"{self.label} (item {self.number})"


def _read_items():
    found, start = [], 0
    for line in _ITEMS.strip().splitlines():
        number, width, kind, header, label = line.split(None, 4)
        decimals, unit = None, ""
        if kind[0].isdigit():
            decimals, _, unit = kind.partition("_")
            decimals, kind = int(decimals), "number"
        found.append(
            Item(number, int(width), kind, header, label, start, decimals, unit)
        )
        start += int(width)
    return tuple(found)


ITEMS = _read_items()
WIDTH = ITEMS[-1].end
BY_NUMBER = {item.number: item for item in ITEMS}
BY_HEADER = {item.header: item for item in ITEMS}

# What stands after the 118 items, vintage by vintage. First and last years of the
# later two are from memory.
TRAILING = {
    "2019 and later": (
        "FED_AGENCY",
        "SUBMITTED_BY",
        "BRIDGE_CONDITION",
        "LOWEST_RATING",
        "DECK_AREA",
    ),
    "about 2010 to 2018": (
        "FED_AGENCY",
        "DATE_LAST_UPDATE",
        "TYPE_LAST_UPDATE",
        "DEDUCT_CODE",
        "REMARKS",
        "PROGRAM_CODE",
        "PROJ_NO",
        "PROJ_SUFFIX",
        "NBI_TYPE_OF_IMP",
        "DTL_TYPE_OF_IMP",
        "SPECIAL_CODE",
        "STEP_CODE",
        "STATUS_WITH_10YR_RULE",
        "SUFFICIENCY_ASTERC",
        "SUFFICIENCY_RATING",
        "STATUS_NO_10YR_RULE",
    ),
    "2017 and 2018, some": ("CAT10", "CAT23", "CAT29"),
    "the national atlas's edition": ("OBJECTID", "LATDD", "LONGDD"),
}
NEEDED = ("STATE_CODE_001", "STRUCTURE_NUMBER_008", "LAT_016", "LONG_017")

OWNERS = {
    "01": "state highway agency",
    "02": "county",
    "03": "town or township",
    "04": "city",
    "11": "state park, forest or reservation",
    "12": "local park, forest or reservation",
    "21": "other state agency",
    "25": "other local agency",
    "26": "private, not a railroad",
    "27": "railroad",
    "31": "state toll authority",
    "32": "local toll authority",
    "60": "other federal agency",
    "61": "tribal government",
    "62": "Bureau of Indian Affairs",
    "63": "Fish and Wildlife Service",
    "64": "Forest Service",
    "66": "National Park Service",
    "67": "Tennessee Valley Authority",
    "68": "Bureau of Land Management",
    "69": "Bureau of Reclamation",
    "70": "Corps of Engineers, civil",
    "71": "Corps of Engineers, military",
    "72": "Air Force",
    "73": "Navy or Marines",
    "74": "Army",
    "75": "NASA",
    "76": "Metropolitan Washington Airports",
    "80": "unknown",
}
CONDITION = {
    "N": "not applicable",
    "9": "excellent",
    "8": "very good",
    "7": "good",
    "6": "satisfactory",
    "5": "fair",
    "4": "poor",
    "3": "serious",
    "2": "critical",
    "1": "imminent failure",
    "0": "failed",
}
CODES = {
    "21": OWNERS,
    "22": OWNERS,
    "37": {
        "1": "on the National Register",
        "2": "eligible",
        "3": "possibly eligible, or on a state or local register",
        "4": "not determinable now",
        "5": "not eligible",
    },
    "41": {
        "A": "open",
        "B": "open, posting recommended and not in place",
        "D": "open by temporary shoring",
        "E": "open on a temporary structure",
        "G": "new, not yet open",
        "K": "closed to all traffic",
        "P": "posted for load",
        "R": "posted for another limit",
    },
    "43A": {
        "0": "other",
        "1": "concrete",
        "2": "concrete, continuous",
        "3": "steel",
        "4": "steel, continuous",
        "5": "prestressed concrete",
        "6": "prestressed concrete, continuous",
        "7": "timber",
        "8": "masonry",
        "9": "aluminum, wrought iron or cast iron",
    },
    "43B": {
        "00": "other",
        "01": "slab",
        "02": "stringer, multi-beam or girder",
        "03": "girder and floor beam",
        "04": "tee beam",
        "05": "box beams, several",
        "06": "box beam",
        "07": "frame",
        "08": "orthotropic",
        "09": "truss, deck",
        "10": "truss, through",
        "11": "arch, deck",
        "12": "arch, through",
        "13": "suspension",
        "14": "stayed girder",
        "15": "lift",
        "16": "bascule",
        "17": "swing",
        "18": "tunnel",
        "19": "culvert",
        "20": "mixed types",
        "21": "segmental box girder",
        "22": "channel beam",
    },
    "58": CONDITION,
    "59": CONDITION,
    "60": CONDITION,
    "107": {
        "N": "not applicable",
        "1": "concrete, cast in place",
        "2": "concrete, precast panels",
        "3": "open grating",
        "4": "closed grating",
        "5": "steel plate",
        "6": "corrugated steel",
        "7": "aluminum",
        "8": "timber",
        "9": "other",
    },
}
TRUSS_DESIGNS = ("09", "10")
FAMILY_OF_DESIGN = {
    **dict.fromkeys(TRUSS_DESIGNS, "truss"),
    "11": "arch",
    "12": "arch",
    "13": "suspension",
    **dict.fromkeys(("01", "02", "03", "04", "05", "06", "21", "22"), "beam"),
}
# Federal numbers of states (FIPS 5-2) with a box about each in whole degrees: west,
# south, east, north. Read off a map from memory, and only to find what lies far off.
_STATES = """
01 AL -89 30 -84 36
02 AK -180 51 -129 72
04 AZ -115 31 -109 38
05 AR -95 33 -89 37
06 CA -125 32 -114 43
08 CO -110 36 -102 42
09 CT -74 40 -71 43
10 DE -76 38 -74 40
11 DC -78 38 -76 40
12 FL -88 24 -79 32
13 GA -86 30 -80 36
15 HI -179 18 -154 29
16 ID -118 41 -111 50
17 IL -92 36 -87 43
18 IN -89 37 -84 42
19 IA -97 40 -90 44
20 KS -103 36 -94 41
21 KY -90 36 -81 40
22 LA -95 28 -88 34
23 ME -72 42 -66 48
24 MD -80 37 -75 40
25 MA -74 41 -69 43
26 MI -91 41 -82 49
27 MN -98 43 -89 50
28 MS -92 30 -88 36
29 MO -96 35 -89 41
30 MT -117 44 -104 50
31 NE -105 39 -95 44
32 NV -121 35 -114 43
33 NH -73 42 -70 46
34 NJ -76 38 -73 42
35 NM -110 31 -103 38
36 NY -80 40 -71 46
37 NC -85 33 -75 37
38 ND -105 45 -96 50
39 OH -85 38 -80 42
40 OK -104 33 -94 38
41 OR -125 41 -116 47
42 PA -81 39 -74 43
44 RI -72 41 -71 43
45 SC -84 32 -78 36
46 SD -105 42 -96 46
47 TN -91 34 -81 37
48 TX -107 25 -93 37
49 UT -115 36 -109 43
50 VT -74 42 -71 46
51 VA -84 36 -75 40
53 WA -125 45 -116 50
54 WV -83 37 -77 41
55 WI -93 42 -86 48
56 WY -112 40 -104 46
60 AS -172 -15 -168 -10
66 GU 144 13 146 14
69 MP 144 14 147 21
72 PR -68 17 -65 19
78 VI -66 17 -64 19
"""


def _read_states():
    found = {}
    for line in _STATES.strip().splitlines():
        number, _, *box = line.split()
        found[number] = tuple(int(side) for side in box)
    return found


STATES = _read_states()
