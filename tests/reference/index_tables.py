"""Published numbers about trophic state, underwater light, density, stability and predator habitat.

Each block says where its numbers come from and how far they can be trusted:

P   published, and the figure was seen in the source or an excerpt of it
P*  published, seen through a transcription
C   computed from the published equation, apart from this package
M   quoted from memory of the source: checked with tolerance only, never a hard gate
"""

# --- Trophic state ----------------------------------------------------------------------------------------
# Carlson, R.E. 1977. Limnol. Oceanogr. 22:361-369 (original); Carlson & Simpson 1996, NALMS (simplified).
# Equations P*, values C: input, simplified, original.
TSI_SECCHI = [
    (0.5, 69.988, 70),
    (1, 60.000, 60),
    (2, 50.012, 50),
    (4, 40.023, 40),
    (8, 30.035, 30),
    (6.1, 33.943, 33.912),
]
TSI_CHLOROPHYLL = [
    (0.94, 29.993, 29.962), (2.6, 39.974, 39.943), (6.4, 48.810, 48.780), (7.3, 50.101, 50.071),
    (20, 59.988, 59.958),
    (56, 70.089, 70.059),
]  # fmt: skip
TSI_PHOSPHORUS = [(6, 29.987, 30), (12, 39.982, 40), (24, 49.978, 50), (48, 59.973, 60), (96, 69.968, 70)]
# Printed by a public R help page (P*), original form.
TSI_CHLOROPHYLL_PRINTED = [(0.12, 9.768544), (0.34, 19.985546), (0.94, 29.962003), (6.4, 48.779910)]
# Carlson's table: TSI, disc m, TP ug/L, chlorophyll ug/L as printed (M; the disc column is exact by
# definition), and the inverse of the simplified equations (C).
CARLSON_TABLE = [
    (0, 64, 0.75, 0.04, 0.750, 0.044), (10, 32, 1.5, 0.12, 1.500, 0.122), (20, 16, 3, 0.34, 3.002, 0.339),
    (30, 8, 6, 0.94, 6.005, 0.941), (40, 4, 12, 2.6, 12.015, 2.607), (50, 2, 24, 6.4, 24.037, 7.225),
    (60, 1, 48, 20, 48.091, 20.024), (70, 0.5, 96, 56, 96.214, 55.496),
    (80, 0.25, 192, 154, 192.492, 153.804),
    (90, 0.125, 384, 427, 385.113, 426.258), (100, 0.0625, 768, 1183, 770.483, 1181.351),
]  # fmt: skip
# Kratzer, C.R. & P.L. Brezonik. 1981. Water Resour. Bull. 17:713-715. Equation P*, values C.
TSI_NITROGEN = [(0.3, 37.077), (0.5, 44.448), (1, 54.45), (2, 64.452)]
# Burns, N.M., J.C. Rutherford & J.S. Clayton. 1999. J. Lake Reserv. Manage. 15:255-271. Equations P*,
# values C: chlorophyll, TP, TN (mg/m3), disc m -> TLc, TLp, TLn, TLs original, TLs revised.
TROPHIC_LEVEL = [
    ((2, 9, 157, 7.0), (2.985, 3.004, 3.000, 2.992, 3.146)),
    ((5, 20, 337, 2.8), (3.995, 4.017, 3.998, 4.013, 4.315)),
    ((10, 20, 300, 3), (4.760, 4.017, 3.846, 3.940, 4.231)),
]
# Same source: limits at level 2..6: chlorophyll, TP, TN (mg/m3), disc by the original and by the revised
# equation (C: each disc column is the one its equation produces).
TROPHIC_LEVEL_LIMITS = [
    (2, 0.82, 4.1, 73, 15, 15), (3, 2.0, 9.0, 157, 7.0, 7.8), (4, 5.0, 20, 337, 2.8, 3.6),
    (5, 12, 43, 725, 1.1, 1.6),
    (6, 31, 96, 1558, 0.4, 0.7),
]  # fmt: skip
# Vollenweider, R.A. & J. Kerekes. 1982. OECD, Paris (P*, transcription): class -> inside value of TP mean,
# chlorophyll mean, chlorophyll max, disc mean, disc min.
OECD_INSIDE = {
    "ultra-oligotrophic": (3, 0.8, 2, 13, 7),
    "oligotrophic": (7, 2, 6, 8, 4),
    "mesotrophic": (20, 5, 15, 4, 2),
    "eutrophic": (60, 15, 50, 2, 1),
    "hypertrophic": (150, 40, 90, 1, 0.5),
}
# Limits between neighbouring classes of the same table, clearest first.
OECD_LIMITS = {
    ("total_phosphorus", "mean"): (4, 10, 35, 100),
    ("chlorophyll", "mean"): (1.0, 2.5, 8, 25),
    ("chlorophyll", "max"): (2.5, 8, 25, 75),
    ("secchi", "mean"): (12, 6, 3, 1.5),
    ("secchi", "min"): (6, 3, 1.5, 0.7),
}
# USEPA. 2009. National Lakes Assessment, EPA 841-R-09-001 (chlorophyll, TP, TN P*; disc M). Nitrogen in
# mg/L here.
NATIONAL_SURVEY_LIMITS = {
    "chlorophyll": (2, 7, 30),
    "total_phosphorus": (10, 25, 100),
    "total_nitrogen": (0.35, 0.75, 1.4),
    "secchi": (4, 2.1, 0.7),
}
# Nurnberg, G.K. 1996. Lake Reserv. Manage. 12:432-447 (all M). Nitrogen in mg/L here.
NURNBERG_LIMITS = {
    "total_phosphorus": (10, 30, 100),
    "total_nitrogen": (0.35, 0.65, 1.2),
    "chlorophyll": (3.5, 9, 25),
    "secchi": (4.0, 2.0, 1.0),
}
# Connecticut Water Quality Standards, Sec. 22a-426-6 (P): a state's own hard edges, oligotrophic /
# mesotrophic / eutrophic / highly eutrophic, total phosphorus ug/L.
STATE_RULE_TP = (10, 30, 50)

# --- Underwater light -------------------------------------------------------------------------------------
# Kd = k / SD and z(1 %) = ln(100) / Kd (C): disc m, Kd with 1.7 (Poole & Atkins 1929), z1, Kd with 1.44
# (Holmes 1970), z1.
LIGHT = [
    (0.5, 3.4, 1.354, 2.88, 1.599), (1, 1.7, 2.709, 1.44, 3.198), (2, 0.85, 5.418, 0.72, 6.396),
    (4, 0.425, 10.836, 0.36, 12.792), (8, 0.2125, 21.671, 0.18, 25.584),
]  # fmt: skip
# Seidelmann (ed.) 1992, Explanatory Supplement (coefficients P*, values C): elevation deg, lux. Then IES
# 1984 (values C): clear, partly cloudy, cloudy.
ILLUMINANCE = [
    (60, 103118),
    (45, 77848),
    (30, 46297),
    (10, 11121),
    (0, 758.6),
    (-0.8, 462.4),
    (-6, 3.412),
    (-12, 0.0081),
]
DAYLIGHT = [
    (60, 101867, 83110, 18487), (45, 80825, 61203, 15149), (30, 53647, 35671, 10800),
    (10, 13865, 8335, 3947),
]  # fmt: skip

# --- Clarity and turbidity --------------------------------------------------------------------------------
# USGS SIR 2007-5164 table 3: SSC = 1.456 Turb^1.263, bias factor 1.048 (P); at 10 FNU (C).
SSC_POWER = {
    "coefficient": 1.456,
    "exponent": 1.263,
    "bias": 1.048,
    "at": 10,
    "plain": 26.68,
    "corrected": 27.96,
}
# USGS model for site 03374100: log10 SSC = 0.3302 + 0.9682 log10 Turb, smearing 1.015 (P); at 100 FNU (C).
SSC_LOG = {
    "intercept": 0.3302,
    "slope": 0.9682,
    "smearing": 1.015,
    "at": 100,
    "plain": 184.8,
    "corrected": 187.5,
}

# --- Density and stability --------------------------------------------------------------------------------
# Density of fresh water, kg/m3 (C, from Tanaka et al. 2001 P, Kell 1975 P*, EOS-80 P*, Chen & Millero 1986
# M, Martin & McCutcheon 1999 M).
DENSITY_COLUMNS = ("tanaka", "kell", "eos80", "chen-millero", "short")
DENSITY = [
    (0, 999.8428, 999.8395, 999.8426, 999.8395, 999.8676),
    (4, 999.9749, 999.9720, 999.9750, 999.9719, 1000.0000),
    (5, 999.9668, 999.9638, 999.96675, 999.9638, None),
    (10, 999.7027, 999.6996, 999.7021, 999.6997, 999.7281),
    (15, 999.1026, 999.0996, 999.1016, 999.0996, None),
    (20, 998.2067, 998.2041, 998.2063, 998.2041, 998.2336),
    (25, 997.0470, 997.0449, 997.04796, 997.0449, 997.0751),
    (30, 995.6488, 995.6473, 995.6511, 995.6472, None),
]  # fmt: skip
DENSITY_FROM_MEMORY = {"chen-millero", "short"}
# Fofonoff & Millard 1983, UNESCO Tech. Pap. Mar. Sci. 44 p. 19, S = 0 (P*).
EOS80_CHECKS = [(5, 999.96675), (25, 997.04796)]
# A made profile, 0-12 m by 1 m, with density steps by Tanaka (C).
PROFILE_DEPTHS = tuple(range(13))
PROFILE_TEMPERATURES = (22.0, 22.0, 21.9, 21.8, 21.5, 20.6, 17.9, 14.2, 11.8, 10.6, 10.0, 9.7, 9.6)
PROFILE_DENSITY_STEPS = (
    0,
    0.0227,
    0.0226,
    0.0671,
    0.1957,
    0.5358,
    0.6026,
    0.3037,
    0.1245,
    0.0552,
    0.0258,
    0.0083,
)
# Box of 20 m, 10 m at 20 C over 10 m at 10 C, Tanaka, g 9.81: g (rho2 - rho1) h1 h2 / 2 (C, closed form and
# brute force).
BOX_STABILITY = 733.766

# --- Predator habitat -------------------------------------------------------------------------------------
# Depth of 68 and of 8 lux with k = 1.7 (C): disc m, surface lux, z68, z8. Limits of Lester et al. 2004,
# Trans. Am. Fish. Soc. 133:588-605 (P*).
OPTICAL_BAND = [
    (1, 100000, 4.290, 5.549),
    (2, 100000, 8.580, 11.098),
    (2, 50000, 7.765, 10.283),
    (4, 10000, 11.743, 16.779),
]
