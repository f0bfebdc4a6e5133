"""What the page Methods says: every formula in use, where it comes from, and where it stops being right."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Method:
    """One method: what it answers, its formula, its source, its limits."""

    title: str
    what: str
    formulas: tuple[str, ...]
    source: str
    limits: str


@dataclass(frozen=True)
class Group:
    """Methods that belong together; ``key`` stands in the address."""

    key: str
    title: str
    methods: tuple[Method, ...]


CLARITY = Group(
    "clarity",
    "Clarity and its past",
    (
        Method(
            "Qualifiers",
            "A disc seen on the bottom is greater than the depth of the water there; a value below "
            "detection is "
            "less than the limit. The sign is kept with the value, drawn as an arrow, and used by every "
            "statistic. "
            "No statistic puts the limit in place of the value.",
            (),
            "ISO 7027-2:2019 for the disc reading; the sign itself is common practice, no source.",
            "Where many values are limits, a median is itself a limit: it is then shown with its sign.",
        ),
        Method(
            "Season value",
            "One value for each station, parameter, year and season: the median of its used readings, "
            "with the "
            "number of readings beside it. Seasons are the workspace's own (config/seasons.toml).",
            (),
            "Common practice, no source.",
            "A season with one reading counts as much as one with twelve; the number beside it tells.",
        ),
        Method(
            "Standing",
            "The latest used reading against the station's own earlier readings taken within 15 days of "
            "the same "
            "day of the year: clearer than usual above the 90th percentile, murkier below the 10th, usual "
            "between. "
            "At least 5 earlier years and 10 readings are needed (settings of the workspace).",
            (),
            "Our own rule; the numbers are settings, not science.",
            "It compares a station with itself only. A lake that is always murky can be usual.",
        ),
        Method(
            "Quality flags",
            "Every reading is tested for range, spikes, rate of change, flat lines and its climatology, "
            "as set for "
            "each parameter. 1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing. Statistics use 1 and 2.",
            (),
            "IOC Manuals and Guides 54, volume 3 (2013); U.S. IOOS QARTOD manuals.",
            "A test sees only numbers. A person may overrule it, with a reason, on the page Check readings.",
        ),
    ),
)

CHANGE = Group(
    "change",
    "Change",
    (
        Method(
            "Mann-Kendall test",
            "Is there a steady direction? Every pair of values is scored +1, 0 or -1; pairs whose order the "
            "qualifiers leave open are scored 0.",
            (
                r"S = \sum_{i<j} \operatorname{sgn}(x_j - x_i)",
                r"Z = \frac{S \mp 1}{\sqrt{\operatorname{Var} S}}",
            ),
            "Mann (1945), Econometrica 13:245-259; Kendall, Rank Correlation Methods (1970, 1975). "
            "Variance with "
            "ties and limits after Daniels (1944).",
            "It assumes independent values and one direction. Limits that drift in time can look like a "
            "trend: "
            "the notes say so.",
        ),
        Method(
            "Seasonal Kendall test",
            "The same within each season, added up, so that summer is never compared with spring. The p "
            "value "
            "allows for the seasons of one year being alike when the record is long enough.",
            (
                r"S' = \sum_k S_k",
                r"\operatorname{Var} S' = \sum_k \sigma_k^2 + \sum_{g \ne h} \sigma_{gh}",
            ),
            "Hirsch, Slack & Smith (1982), Water Resour. Res. 18:107-121; Hirsch & Slack (1984), 20:727-732; "
            "homogeneity of seasons after van Belle & Hughes (1984).",
            "If seasons go different ways one slope misleads: look at the season panels.",
        ),
        Method(
            "Theil-Sen slope",
            "The median of the slopes of all pairs; its limits come from the ranks.",
            (r"\hat\beta = \operatorname{median}_{i<j} \frac{x_j - x_i}{t_j - t_i}",),
            "Theil (1950); Sen (1968), J. Am. Stat. Assoc. 63:1379-1389; limits after Gilbert (1987); with "
            "limits of detection after Akritas, Murphy & LaValley (1995).",
            "A slope describes the record; it is no forecast.",
        ),
        Method(
            "Step",
            "Is it one step rather than a slope?",
            (r"K = \max_t \left| \sum_{i \le t} \sum_{j > t} \operatorname{sgn}(x_j - x_i) \right|",),
            "Pettitt (1979), Appl. Stat. 28:126-135.",
            "A slope also makes this test fire. Ask what changed: the water, the method or the place.",
        ),
        Method(
            "Words of certainty",
            "At least 99 % virtually certain, 95 % extremely likely, 90 % very likely, 66 % likely, below "
            "as likely "
            "as not; always with the number beside the word.",
            (r"\text{confidence in the direction} = 1 - p/2",),
            "Mastrandrea et al. (2010), IPCC guidance note on uncertainties; McBride (2019), J. Environ. "
            "Qual. "
            "48:412-420.",
            "The words speak of the direction, not of its size or of what it matters.",
        ),
        Method(
            "Many stations at once",
            "With 100 stations and no trend anywhere, five would look certain at p = 0.05. The adjusted p "
            "keeps the "
            "share of such false discoveries below 5 %.",
            (r"p_{(i)}^{\text{adj}} = \min_{j \ge i} \frac{m}{j} p_{(j)}",),
            "Benjamini & Hochberg (1995), J. R. Stat. Soc. B 57:289-300.",
            "Stations of one lake are not independent; the share is then only approximate.",
        ),
    ),
)

STATE = Group(
    "state",
    "Trophic state and light",
    (
        Method(
            "Trophic state index",
            "How green is the water? 10 units are one halving of the disc depth or one doubling of "
            "phosphorus. "
            "The indices of different inputs are shown beside each other and never averaged.",
            (
                r"\mathrm{TSI(SD)} = 60 - 14.41 \ln \mathrm{SD}",
                r"\mathrm{TSI(Chl)} = 9.81 \ln \mathrm{Chl} + 30.6",
                r"\mathrm{TSI(TP)} = 14.42 \ln \mathrm{TP} + 4.15",
            ),
            "Carlson (1977), Limnol. Oceanogr. 22:361-369; simplified form and classes: Carlson & Simpson "
            "(1996).",
            "From disc depth it is right only where algae, not silt or colour, take the light: in a "
            "stained lake "
            "or a river it says murky, not green.",
        ),
        Method(
            "Deviations",
            "Where the inputs disagree, the difference tells why: colour or silt, large particles, or which "
            "nutrient runs short.",
            (r"x = \mathrm{TSI(Chl)} - \mathrm{TSI(SD)}, \qquad y = \mathrm{TSI(Chl)} - \mathrm{TSI(TP)}",),
            "Carlson (1991). Differences within 5 units are not read as anything: common practice, no "
            "source.",
            "One year proves little; look for years that lie together.",
        ),
        Method(
            "Light under water",
            "How fast light fades, and how deep 1 % of it reaches.",
            (r"K_d = k / \mathrm{SD}, \qquad z_{1\%} = 4.61 / K_d",),
            "Poole & Atkins (1929) for k = 1.7; Holmes (1970) for 1.44 in turbid water.",
            "k differs between waters by a factor of two or more: measure light at two depths to know yours.",
        ),
    ),
)

DEPTH = Group(
    "depth",
    "Layers and habitat",
    (
        Method(
            "Thermocline",
            "The depth where density changes fastest with depth; none when the water is mixed.",
            (r"z_T = \arg\max_z \; \partial \rho / \partial z",),
            "Density after Martin & McCutcheon (1999); thermocline and stability after Read et al. (2011), "
            "Environ. Model. Softw. 26:1325-1336.",
            "It cannot be finer than the spacing of the depths that were read.",
        ),
        Method(
            "Stability",
            "The work it would take to mix the lake.",
            (r"S_T = \frac{g}{A_0} \int_0^{z_D} (z - z_v)\, \rho_z A_z \, \partial z",),
            "Schmidt (1928); Idso (1973), Limnol. Oceanogr. 18:681-683.",
            "It needs the depth-area table of the water.",
        ),
        Method(
            "Thermal-optical habitat",
            "Lake bed with light between 8 and 68 lux and water between 11 and 25 °C, over the daylight "
            "of the "
            "open-water season: room for walleye to hunt by sight.",
            (r"z_{\text{lux}} = \ln(I_0 / \text{lux}) / K_d",),
            "Lester, Dextrase, Kushneriuk, Rawson & Ryan (2004), Trans. Am. Fish. Soc. 133:588-605.",
            "A what-if on light and temperature alone: it knows nothing of food, oxygen or harvest.",
        ),
    ),
)

FISH = Group(
    "fish",
    "Fish",
    (
        Method(
            "Catch per effort",
            "Fish for each unit of effort, survey by survey, surveys without a catch counted as zero. "
            "Gears and "
            "units of effort are never pooled; a survey of unknown effort is left out and counted.",
            (r"\overline{\mathrm{CPE}} = \frac{1}{n} \sum_i c_i / f_i",),
            "Common practice; interval by resampling the surveys (Efron & Tibshirani, 1993).",
            "Catch follows how easily fish are caught as well as how many there are.",
        ),
        Method(
            "Catch and clarity",
            "A count model of the catch with the logarithm of effort as offset; negative binomial only "
            "when the "
            "counts spread more than Poisson; straight and humped shapes compared; errors by water; a "
            "check with a "
            "year trend, since two trends always correlate.",
            (r"\log E(c_i) = \log f_i + \beta_0 + \beta_1 \log_2 \mathrm{SD}_i + \dots",),
            "Hilbe (2011), Negative Binomial Regression; clarity and walleye yield: Lester et al. (2004).",
            "An association between surveys. It does not say that clarity makes fish, or that fish make "
            "clarity.",
        ),
        Method(
            "Size structure",
            "Of the fish of stock length or longer, the percentage that reach quality, preferred, "
            "memorable and "
            "trophy length.",
            (r"\mathrm{PSD} = 100 \; n_{\ge \text{quality}} / n_{\ge \text{stock}}",),
            "Gabelhouse (1984), N. Am. J. Fish. Manage. 4:273-285; Neumann, Guy & Willis (2012); intervals: "
            "Brenden, Wagner & Murphy (2008), 28:1233-1242.",
            "Nets choose sizes: compare only what the same gear caught in the same season.",
        ),
    ),
)

GROUPS = (CLARITY, CHANGE, STATE, DEPTH, FISH)
"""In the order of the page."""

CAUTIONS = (
    "Clear water is not safe water: clarity says nothing about bacteria, toxins, currents, depth or ice. For "
    "swimming, drinking and boating follow the local health and safety authority.",
    "On the water: wear a life jacket, tell someone where you go and when you are back, and stay ashore in "
    "lightning, high wind or on ice you are not sure of.",
    "Electrofishing and netting need permits and trained, licensed crews. Handling fish needs care and, "
    "often, "
    "approval. Local codes come before anything written here.",
    "An index or a test is help for judgement, not judgement. No verdict without the number of readings, the "
    "years and the method beside it.",
)
"""Said on the page Methods, all together."""
