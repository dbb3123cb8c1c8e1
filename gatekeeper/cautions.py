"""The usual cautions, in one place: on the page, and in the terminal at the first start of a shop."""

CAUTIONS = (
    "Mains and motor wiring is work for a licensed electrician, under the code of your place.",
    "Machinery here may start by itself. It wears a sign that says so.",
    "Before you open a collector, its bin or its filter: switch it off at the disconnect and put your own lock on it.",
    "An emergency stop is hard-wired. Nothing on this page replaces it, and none may run through this controller.",
    "Wood dust is a health hazard, and some of it causes cancer. Capture it at the tool, and wear a fitted respirator "
    "rated for fine dust.",
    "Wood dust can explode. Bond and ground the ducts, keep metal and sparks out, and place and vent a collector by "
    "the local fire code.",
    "A gate here is no fire damper, and a word on a screen is no proof of air. Feel for it.",
    "This is no safety-rated controller. You decide, and your local code does.",
)
