"""Published numbers for the fish package, each with its source.

How a number was seen: "in a transcription" means in the documented checks of a public statistics package for
fishery work, which says it reproduces the paper; "published" means in the paper's own excerpt; "from memory"
means just that, and such a number is only used with a tolerance.
"""

# Carle, F.L. & M.R. Strub. 1978. A new method for estimating population size from removal data. Biometrics
# 34:621-630. Examples 1 and 2, seen in a transcription. Columns: catches, N, SE of N (None: not seen), p.
CARLE_STRUB = [
    ((38, 26, 12), 91, 9.7, 0.444),
    # does not deplete: the paper's own illustration that the method still answers
    ((5, 7, 8), 44, None, 0.174),
]

# Cowx, I.G. 1983. Review of the methods for estimating fish population size from survey removal data.
# Fisheries Management 14:67-82, page 77. Carle-Strub estimates, seen in a transcription.
COWX = [((72, 56, 46, 30, 24), 298, 0.250), ((8, 23, 17, 8, 6), 95, 0.187)]

# Zippin, C. 1958. The removal method of population estimation. Journal of Wildlife Management 22:82-90.
# Three catches 165, 101, 54 with N about 395 read from a graph; from memory.
ZIPPIN_1958 = ((165, 101, 54), 395)

# Brenden, T.O., T. Wagner & B.R. Murphy. 2008. N. Am. J. Fish. Manage. 28:1233-1242, Table 2: n 445,
# published.
BRENDEN_N = 445
BRENDEN_SHARES = {"S-Q": 0.130, "Q-P": 0.491, "P-M": 0.253, "M-T": 0.123}
BRENDEN_TABLE = {
    "PSD S-Q": (13, 9, 17),
    "PSD Q-P": (49, 42, 56),
    "PSD P-M": (25, 20, 31),
    "PSD M-T": (12, 8, 17),
    "PSD": (87, 82, 91),
    "PSD-P": (38, 31, 44),
}

# Single binomial 95 % limits, computed with statsmodels 0.15.0: fish in class, fish, Wilson, Clopper-Pearson.
BINOMIAL = [
    (32, 80, (29.96, 50.95), (29.20, 51.56)),
    (20, 50, (27.61, 53.82), (26.41, 54.82)),
]

# Gabelhouse, D.W. 1984. N. Am. J. Fish. Manage. 4:273-285. Total length [cm], published.
LENGTH_LIMITS_CM = {
    "walleye": (25, 38, 51, 63, 76),
    "sauger": (20, 30, 38, 51, 63),
    "northern pike": (35, 53, 71, 86, 112),
    "yellow perch": (13, 20, 25, 30, 38),
    "smallmouth bass": (18, 28, 35, 43, 51),
    "largemouth bass": (20, 30, 38, 51, 63),
}

# Murphy, B.R., M.L. Brown & T.A. Springer. 1990. N. Am. J. Fish. Manage. 10:85-97. The equation is
# published; weights
# [g] at these total lengths [mm] were computed from it by hand calculator precision.
WALLEYE_STANDARD = {150: 29.3, 250: 148.7, 300: 265.6, 400: 663.1, 510: 1435.7, 630: 2811.3, 760: 5104.9}
# The same paper's English equation, log10 Ws [lb] = -3.642 + 3.180 log10 TL [in]: 20 in -> 3.1281 lb.
WALLEYE_ENGLISH = (20.0, 3.1281)

# Data set "fishing" of the R package COUNT; MASS::glm.nb(totabund ~ meandepth + period +
# offset(log(sweptarea))).
FISHING = {
    "coefficients": (-3.307003, -0.001017, -0.426981),
    "se_depth": 0.000048,
    "se_period": 0.125971,
    "theta": 1.953821,
    "aic": 1761.245,
}

# Data set "lakeO" of the R package VGAM; glm(total.fish ~ year, poisson, offset = log(visits)).
LAKE_O = {"year": -0.015583, "year_se": 0.013044, "deviance": 13.427, "df": 13}

# Serns, S.L. 1982. N. Am. J. Fish. Manage. 2:451-457: 0.234 x fish per mile = fish per acre; from memory. 50
# -> 11.7.
SERNS = (50.0, 11.7)
