"""Build the sample audit ``floor_scrubber``: everything in it is invented, and this script says how.

The tables below are the data: bill of materials, markets, decisions. Price histories come from one stated process, so that
quotes agree with the market volumes they claim. For a part booked at price B on its quote date t, the price on day d is::

    B · [ I(d)/I(t) · (X(d)/X(t))^-a  +  s · (M(d)/M(t) - I(d)/I(t)) ] · exp(W(d) - W(t)) · exp(e)

with I general inflation, X the cumulative volume of the part's market, a = -log2(1 - learning rate) of the market, s the
share of materials, M the price of the market's basket of materials, W a random walk with the market's noise, and e the noise
of the kind of quote. Quantity n instead of the booked one multiplies by (n / booked)^-0.06. All noise is drawn from seeds made
of the part numbers: running the script again gives the same files, byte by byte.

Run: ``python sample_boms/build_floor_scrubber.py [--seed N] [--out FOLDER]``. Another seed gives another set of quotes
from the same markets; the audit's verdicts should not depend on it.
"""

from __future__ import annotations

import argparse
import csv
import math
import random
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import xlsxwriter

from bomaudit.prepare.currency import reference_rates

SEED = 20150921
AS_OF = date(2026, 6, 30)
ANNUAL_VOLUME = 9000
PRODUCT = "FS55-0000"
PRICE_BREAK_SLOPE = 0.06
QUOTE_NOISE = {"firm": 0.015, "purchase": 0.01, "budgetary": 0.05, "catalogue": 0.06}
RELEASE = "2017-03-31"  # release of the bill of materials: many lines carry this date, not the date of their quote

# ------------------------------------------------------------------------------------------------------------ markets
# commodity | learning rate | materials share | basket of materials | noise ln/sqrt(year) | what is counted
#           | cumulative to 2007 | volume 2008-2025: "grow V2008 rate" or "rise ceiling middle-year steepness" | makers 2008 > 2025
MARKETS = """
mechanical_pump      | 0.06 | 0.50 | steel:0.4;abs:0.4;rubber:0.2      | 0.020 | pumps    | 7.0e8  | grow 3.4e7 0.015       | 40 > 34
electronic_pump      | 0.15 | 0.30 | copper:0.3;abs:0.4;steel:0.3      | 0.035 | pumps    | 1.6e3  | rise 6.0e7 2026 0.62   | 2 > 31
brushed_motor        | 0.07 | 0.55 | copper:0.45;steel:0.55            | 0.020 | motors   | 2.0e10 | grow 9.0e8 0.010       | 70 > 52
brushless_motor      | 0.14 | 0.35 | copper:0.45;steel:0.35;magnet:0.2 | 0.035 | motors   | 4.0e7  | rise 9.0e8 2022 0.33   | 12 > 60
gearbox              | 0.06 | 0.50 | steel:0.6;aluminium:0.4           | 0.020 | gearboxes| 1.2e9  | grow 6.0e7 0.025       | 45 > 48
castor_wheel         | 0.05 | 0.55 | steel:0.6;rubber:0.4              | 0.020 | wheels   | 5.0e9  | grow 3.0e8 0.020       | 60 > 66
lead_acid_battery    | 0.05 | 0.60 | lead:0.8;polypropylene:0.2        | 0.025 | batteries| 8.0e9  | grow 4.0e8 0.015       | 50 > 38
lithium_battery      | 0.17 | 0.30 | lithium_carbonate:0.2;copper:0.4;aluminium:0.4 | 0.050 | MWh | 2.6e4 | rise 4.0e6 2027 0.33 | 9 > 48
battery_charger      | 0.13 | 0.30 | copper:0.5;steel:0.5              | 0.030 | chargers | 6.0e7  | rise 4.0e8 2021 0.30   | 14 > 55
transformer          | 0.03 | 0.65 | copper:0.6;steel:0.4              | 0.020 | units    | 3.0e9  | grow 6.0e7 -0.020      | 40 > 25
motor_controller     | 0.13 | 0.25 | copper:0.5;aluminium:0.5          | 0.035 | units    | 3.0e7  | rise 5.0e8 2023 0.30   | 10 > 45
circuit_board        | 0.08 | 0.30 | copper:0.7;abs:0.3                | 0.030 | m2       | 1.2e9  | grow 2.0e8 0.045       | 90 > 75
semiconductor        | 0.16 | 0.10 | copper:1.0                        | 0.060 | 1000 pcs | 6.0e9  | grow 7.0e8 0.065       | 60 > 55
display              | 0.17 | 0.15 | aluminium:0.5;abs:0.5             | 0.045 | modules  | 6.0e8  | rise 2.5e9 2019 0.35   | 15 > 28
indicator_panel      | 0.04 | 0.30 | abs:0.7;copper:0.3                | 0.020 | panels   | 4.0e9  | grow 2.0e8 -0.030      | 35 > 18
sensor               | 0.14 | 0.20 | copper:0.5;abs:0.5                | 0.040 | sensors  | 9.0e9  | grow 2.0e9 0.110       | 25 > 60
switch_relay         | 0.05 | 0.40 | copper:0.6;abs:0.4                | 0.020 | pieces   | 5.0e10 | grow 3.0e9 0.020       | 60 > 55
wire_harness         | 0.03 | 0.45 | copper:0.8;pvc:0.2                | 0.020 | sets     | 1.2e10 | grow 9.0e8 0.025       | 80 > 85
connector            | 0.06 | 0.40 | copper:0.6;abs:0.4                | 0.025 | pieces   | 3.0e11 | grow 3.0e10 0.040      | 70 > 72
injection_moulding   | 0.03 | 0.45 | abs:1.0                           | 0.020 | t        | 1.5e8  | grow 8.0e6 0.030       | 900 > 880
rotational_moulding  | 0.03 | 0.50 | polyethylene:1.0                  | 0.020 | t        | 8.0e6  | grow 4.0e5 0.025       | 300 > 290
sheet_metal          | 0.03 | 0.55 | steel:1.0                         | 0.020 | t        | 9.0e8  | grow 4.0e7 0.018       | 900 > 900
aluminium_casting    | 0.04 | 0.55 | aluminium:1.0                     | 0.020 | t        | 1.5e8  | grow 1.0e7 0.035       | 500 > 480
machined_part        | 0.04 | 0.35 | steel:1.0                         | 0.020 | t        | 1.0e8  | grow 5.0e6 0.020       | 900 > 900
fastener             | 0.03 | 0.60 | steel:1.0                         | 0.020 | t        | 1.8e8  | grow 1.0e7 0.020       | 400 > 380
bearing              | 0.05 | 0.45 | steel:1.0                         | 0.020 | pieces   | 1.5e11 | grow 1.1e10 0.030      | 60 > 58
seal                 | 0.04 | 0.45 | rubber:1.0                        | 0.020 | pieces   | 2.0e11 | grow 1.2e10 0.025      | 150 > 140
hose                 | 0.04 | 0.50 | pvc:1.0                           | 0.020 | km       | 3.0e8  | grow 1.6e7 0.020       | 120 > 118
brush                | 0.03 | 0.45 | polypropylene:0.8;steel:0.2       | 0.020 | pieces   | 1.0e9  | grow 6.0e7 0.020       | 50 > 47
vacuum_motor         | 0.06 | 0.50 | copper:0.5;steel:0.5              | 0.020 | motors   | 2.5e9  | grow 1.5e8 0.025       | 25 > 27
turbine_blower       | 0.08 | 0.30 | aluminium:0.5;copper:0.5          | 0.025 | blowers  | 1.5e5  | grow 1.8e4 0.010       | 3 > 3
solenoid_valve       | 0.07 | 0.40 | copper:0.6;steel:0.4              | 0.025 | valves   | 3.0e9  | grow 2.5e8 0.040       | 40 > 48
mechanical_valve     | 0.04 | 0.50 | copper:0.7;steel:0.3              | 0.020 | valves   | 8.0e9  | grow 4.0e8 0.020       | 90 > 88
drive_belt           | 0.04 | 0.45 | rubber:1.0                        | 0.020 | belts    | 2.0e10 | grow 1.0e9 0.020       | 45 > 42
electric_brake       | 0.17 | 0.35 | copper:0.5;steel:0.5              | 0.030 | brakes   | 2.0e6  | rise 9.0e7 2024 0.50   | 6 > 38
drum_brake           | 0.03 | 0.55 | steel:1.0                         | 0.020 | brakes   | 1.5e9  | grow 4.0e7 0.000       | 30 > 22
linear_actuator      | 0.12 | 0.35 | steel:0.5;copper:0.5              | 0.035 | actuators| 2.5e7  | rise 1.2e8 2021 0.28   | 9 > 36
filter_foam          | 0.03 | 0.50 | polyethylene:1.0                  | 0.020 | m3       | 6.0e7  | grow 3.0e6 0.025       | 80 > 80
label                | 0.03 | 0.40 | paper:1.0                         | 0.020 | m2       | 6.0e8  | grow 5.0e7 0.040       | 300 > 320
packaging            | 0.02 | 0.60 | paper:1.0                         | 0.020 | m2       | 2.0e12 | grow 1.6e11 0.025      | 900 > 900
"""

# --------------------------------------------------------------------------------------------------------- input prices
# Published annual means where a source is named; the last year of each, and every series marked invented, is made up.
# series | unit | currency | source | values 2010 … 2025
INPUT_YEARS = range(2010, 2026)
INPUT_PRICES = """
general_inflation | index 2015 = 100 | EUR | invented | 91.3 93.8 96.1 97.4 98.9 100.0 100.9 102.6 104.5 106.1 107.0 110.2 118.9 125.6 128.9 131.7
labour            | index 2015 = 100 | EUR | invented | 90.5 92.6 94.6 96.4 98.2 100.0 102.1 104.6 107.4 110.2 112.4 115.3 120.4 126.6 132.4 137.2
energy            | index 2015 = 100 | EUR | invented | 95.0 101.0 106.0 105.0 103.0 100.0 94.0 96.0 100.0 99.0 93.0 117.0 186.0 158.0 141.0 138.0
copper            | USD/t            | USD | World Bank commodity prices (annual, updated May 2025) | 7534.78 8828.19 7962.35 7332.10 6863.40 5510.46 4867.90 6169.94 6529.80 6010.15 6173.77 9317.05 8822.37 8490.29 9142.14 9650
aluminium         | USD/t            | USD | World Bank commodity prices (annual, updated May 2025) | 2173.12 2401.39 2023.28 1846.67 1867.42 1664.68 1604.18 1967.65 2108.47 1794.49 1703.99 2472.85 2705.02 2255.74 2419.02 2560
lead              | USD/t            | USD | World Bank commodity prices (annual, updated May 2025) | 2148.45 2400.81 2064.64 2139.79 2095.46 1787.82 1866.65 2314.66 2240.43 1996.51 1824.88 2200.36 2150.60 2135.80 2069.45 2000
rubber            | USD/kg           | USD | World Bank commodity prices (annual, updated May 2025) | 3.65 4.82 3.38 2.79 1.95 1.57 1.61 2.00 1.57 1.64 1.73 2.07 1.81 1.58 2.28 2.20
steel             | index 2015 = 100 | EUR | invented | 112 122 117 110 108 100 96 108 118 111 105 176 190 164 153 148
abs               | EUR/t            | EUR | invented | 1710 1890 1930 1880 1850 1620 1530 1760 1830 1610 1480 2540 2480 1990 1940 1890
polyethylene      | EUR/t            | EUR | invented | 1210 1340 1360 1340 1370 1290 1240 1250 1260 1130 980 1620 1700 1370 1350 1300
polypropylene     | EUR/t            | EUR | invented | 1180 1320 1290 1290 1310 1190 1080 1180 1240 1150 1020 1690 1650 1320 1340 1280
pvc               | EUR/t            | EUR | invented | 910 1010 1000 990 990 940 890 930 940 900 880 1490 1540 1130 1060 1020
paper             | index 2015 = 100 | EUR | invented | 96 103 99 98 99 100 99 104 112 106 100 128 151 130 127 129
magnet            | index 2015 = 100 | EUR | invented | 120 410 250 140 118 100 88 102 97 93 104 171 215 139 108 118
lithium_carbonate | USD/t            | USD | invented | 5200 5200 5900 6500 6700 6500 8700 15000 16000 11700 8400 12600 60000 38000 13500 11000
"""

# ---------------------------------------------------------------------------------------------------- bill of materials
# level | part no | description | qty | unit | price | currency | per | cost date | date of the quote behind it
#       | history | commodity | supplier | flags
# cost date: R = release of the bill of materials, - = none stated, = the date of the quote.
# history: n no quotes · b the quote behind and one before · h also newer ones · r newer ones up to last year · p purchases only
# flags: make, custom, safety, hide (commodity is not written in the bill), scrap=…, quoted=currency
# of the supplier's quotes, agreed=rate@until, note=…
# A row without a price is an assembly.
BOM = """
0 | FS55-0000 | Floor scrubber 55 cm, battery, walk-behind
1 | FS55-1000 | Traction drive
2 | FS55-1100 | Transaxle
3 | FS55-1101 | Traction motor 24 V 180 W, brushed, permanent magnet | 1 | pcs | 46.80 | EUR | 1 | R | 2015-06-18 | h | brushed_motor | Invented Motors A | custom
3 | FS55-1102 | Differential gearbox 1:28 | 1 | pcs | 58.40 | EUR | 1 | R | 2015-07-02 | b | gearbox | Invented Gears A | custom
3 | FS55-1103 | Drum brake, cable operated | 1 | pcs | 13.20 | EUR | 1 | R | 2015-05-11 | b | drum_brake | Invented Brakes A | custom;safety
3 | FS55-1104 | Brake cable with lever | 1 | set | 6.10 | EUR | 1 | R | 2015-05-11 | b | machined_part | Invented Brakes A | custom;safety;hide
3 | FS55-1105 | Axle shaft, hardened | 2 | pcs | 4.35 | EUR | 1 | R | 2015-09-24 | b | machined_part | Invented Turning A | custom
3 | FS55-1106 | Deep groove ball bearing 6204 size, sealed | 4 | pcs | 0.92 | USD | 1 | = | 2016-02-15 | h | bearing | Invented Bearings A |
3 | FS55-1107 | Shaft seal 20 x 40 | 2 | pcs | 0.48 | EUR | 1 | R | 2016-01-20 | b | seal | Invented Seals A |
3 | FS55-1108 | Gear oil | 0.35 | l | 3.10 | EUR | 1 | - | - | n | - | - | note=no quote found
2 | FS55-1200 | Wheels and castors
3 | FS55-1201 | Drive wheel 200 mm, polyurethane | 2 | pcs | 9.85 | EUR | 1 | R | 2015-08-13 | b | castor_wheel | Invented Wheels A | quoted=CNY
3 | FS55-1202 | Swivel castor 100 mm | 2 | pcs | 6.40 | CNY | 1 | = | 2016-03-08 | b | castor_wheel | Invented Wheels B |
3 | FS55-1203 | Wheel hub, zinc plated | 2 | pcs | 2.70 | EUR | 1 | R | 2015-08-13 | n | machined_part | Invented Turning A | custom
3 | FS55-1204 | Split pin 4 x 40 | 4 | pcs | 2.90 | EUR | 100 | R | 2016-04-05 | n | fastener | Invented Fasteners A |
2 | FS55-1300 | Drive mounting
3 | FS55-1301 | Transaxle bracket, laser cut and bent | 2 | pcs | 5.15 | EUR | 1 | R | 2016-05-19 | b | sheet_metal | Invented Sheet Metal A | custom
3 | FS55-1302 | Rubber mount M8 | 4 | pcs | 0.74 | EUR | 1 | R | 2016-01-20 | b | seal | Invented Seals A |
3 | FS55-1303 | Hexagon bolt M8 x 25 | 12 | pcs | 4.60 | EUR | 100 | R | 2016-04-05 | b | fastener | Invented Fasteners A |
3 | FS55-1304 | Locking nut M8 | 12 | pcs | 2.80 | EUR | 100 | R | 2016-04-05 | b | fastener | Invented Fasteners A |
1 | FS55-2000 | Brush deck
2 | FS55-2100 | Brush drive
3 | FS55-2101 | Brush motor 24 V 400 W, brushed | 2 | pcs | 38.50 | EUR | 1 | R | 2015-06-18 | h | brushed_motor | Invented Motors A |
3 | FS55-2102 | Angle gearbox 1:9 for brush | 2 | pcs | 21.90 | EUR | 1 | R | 2015-07-02 | b | gearbox | Invented Gears A |
3 | FS55-2103 | Brush coupling, die cast | 2 | pcs | 3.05 | EUR | 1 | R | 2016-02-29 | b | aluminium_casting | Invented Castings A | custom
3 | FS55-2104 | Disc brush 280 mm, polypropylene | 2 | pcs | 8.20 | EUR | 1 | R | 2016-03-17 | b | brush | Invented Brushes A | quoted=USD
3 | FS55-2105 | Retaining spring | 2 | pcs | 0.31 | EUR | 1 | R | - | n | - | - | note=price from an old drawing
2 | FS55-2200 | Deck and lift
3 | FS55-2201 | Deck housing, die cast aluminium | 1 | pcs | 34.60 | EUR | 1 | R | 2016-02-29 | b | aluminium_casting | Invented Castings A | custom
3 | FS55-2202 | Deck lift linkage with pedal | 1 | set | 17.40 | EUR | 1 | - | - | n | sheet_metal | Invented Sheet Metal A | custom;note=estimate of the design office
3 | FS55-2203 | Gas spring 250 N | 1 | pcs | 7.30 | EUR | 1 | R | - | n | - | Invented Springs A |
3 | FS55-2204 | Splash skirt, rubber | 1.8 | m | 2.60 | EUR | 1 | R | 2016-01-20 | b | seal | Invented Seals A | scrap=0.04
3 | FS55-2205 | Guide roller | 2 | pcs | 1.85 | EUR | 1 | R | 2015-08-13 | n | castor_wheel | Invented Wheels A |
3 | FS55-2206 | Hexagon bolt M6 x 20 | 16 | pcs | 2.75 | EUR | 100 | R | 2016-04-05 | n | fastener | Invented Fasteners A |
2 | FS55-2300 | Squeegee
3 | FS55-2301 | Squeegee bar, die cast aluminium | 1 | pcs | 16.20 | EUR | 1 | R | 2016-02-29 | b | aluminium_casting | Invented Castings A | custom
3 | FS55-2302 | Squeegee blade rear, natural rubber | 1 | pcs | 5.40 | EUR | 1 | R | 2016-01-20 | b | seal | Invented Seals A | custom
3 | FS55-2303 | Squeegee blade front, natural rubber | 1 | pcs | 4.10 | EUR | 1 | R | 2016-01-20 | b | seal | Invented Seals A | custom
3 | FS55-2304 | Blade clamp with latch | 1 | pcs | 2.95 | EUR | 1 | R | 2016-05-19 | b | sheet_metal | Invented Sheet Metal A | custom
3 | FS55-2305 | Squeegee castor 50 mm | 2 | pcs | 12.10 | CNY | 1 | = | 2016-03-08 | b | castor_wheel | Invented Wheels B |
3 | FS55-2306 | Wing nut M8, plastic | 4 | pcs | 9.80 | EUR | 100 | R | 2016-04-05 | n | fastener | Invented Fasteners A |
1 | FS55-3000 | Water system
2 | FS55-3100 | Solution dosing
3 | FS55-3101 | Solution pump, diaphragm, belt driven from the brush motor | 1 | pcs | 25.90 | EUR | 1 | R | 2015-09-21 | b | mechanical_pump | Invented Pumps A |
3 | FS55-3102 | Relief valve 2 bar, brass, returns the excess to the tank | 1 | pcs | 4.30 | EUR | 1 | R | 2015-09-21 | b | mechanical_valve | Invented Valves A |
3 | FS55-3103 | Toothed belt, pump drive | 1 | pcs | 2.20 | EUR | 1 | R | 2015-10-06 | b | drive_belt | Invented Belts A |
3 | FS55-3104 | Pump bracket with tensioner | 1 | pcs | 3.40 | EUR | 1 | R | 2016-05-19 | b | sheet_metal | Invented Sheet Metal A | custom
3 | FS55-3105 | Drive sleeve, turned | 1 | pcs | 1.60 | EUR | 1 | R | 2015-09-24 | b | machined_part | Invented Turning A | custom
3 | FS55-3106 | Solenoid valve 24 V, solution shut-off | 1 | pcs | 6.90 | USD | 1 | = | 2015-11-12 | h | solenoid_valve | Invented Valves B |
3 | FS55-3107 | Solution hose 12 mm | 2.4 | m | 1.05 | EUR | 1 | R | 2016-01-28 | b | hose | Invented Hoses A | scrap=0.05
3 | FS55-3108 | Solution filter with bowl | 1 | pcs | 3.85 | EUR | 1 | R | 2016-03-30 | b | injection_moulding | Invented Mouldings A |
3 | FS55-3109 | Hose clamp 12 mm | 8 | pcs | 11.50 | EUR | 100 | R | 2016-04-05 | n | fastener | Invented Fasteners A |
3 | FS55-3110 | Level sensor, solution tank | 1 | pcs | 5.60 | USD | 1 | = | 2015-11-12 | h | sensor | Invented Sensors A |
2 | FS55-3200 | Tanks
3 | FS55-3201 | Solution tank 55 l, rotomoulded polyethylene | 1 | pcs | 41.50 | EUR | 1 | R | 2015-12-03 | b | rotational_moulding | Invented Tanks A | custom
3 | FS55-3202 | Recovery tank 60 l, rotomoulded polyethylene | 1 | pcs | 45.80 | EUR | 1 | R | 2015-12-03 | b | rotational_moulding | Invented Tanks A | custom
3 | FS55-3203 | Tank lid, injection moulded ABS | 1 | pcs | 7.90 | EUR | 1 | R | 2016-03-30 | b | injection_moulding | Invented Mouldings A | custom
3 | FS55-3204 | Lid seal, foam rubber | 1.9 | m | 0.95 | EUR | 1 | R | 2016-01-20 | b | seal | Invented Seals A | scrap=0.03
3 | FS55-3205 | Drain hose with plug | 1 | pcs | 6.70 | EUR | 1 | R | 2016-01-28 | b | hose | Invented Hoses A |
3 | FS55-3206 | Fill hose, expandable | 1 | pcs | 4.20 | EUR | 1 | R | 2016-01-28 | n | hose | Invented Hoses A |
3 | FS55-3207 | Level sight tube | 0.5 | m | 1.30 | EUR | 1 | - | - | n | hose | Invented Hoses A |
3 | FS55-3208 | Hinge, stainless steel | 2 | pcs | 1.75 | EUR | 1 | R | 2016-05-19 | b | sheet_metal | Invented Sheet Metal A |
3 | FS55-3209 | Debris basket | 1 | pcs | 3.25 | EUR | 1 | R | 2016-03-30 | b | injection_moulding | Invented Mouldings A | custom
1 | FS55-4000 | Vacuum
2 | FS55-4100 | Suction unit
3 | FS55-4101 | Suction motor 24 V 450 W, three stage | 1 | pcs | 74.20 | USD | 1 | = | 2015-11-19 | h | vacuum_motor | Invented Motors B |
3 | FS55-4102 | Float shut-off valve | 1 | pcs | 2.95 | EUR | 1 | R | 2016-03-30 | b | injection_moulding | Invented Mouldings A | custom
3 | FS55-4103 | Motor gasket | 2 | pcs | 0.85 | EUR | 1 | R | 2016-01-20 | n | seal | Invented Seals A |
3 | FS55-4104 | Silencer foam | 0.04 | m3 | 96.00 | EUR | 1 | R | 2016-06-14 | b | filter_foam | Invented Foams A | scrap=0.08
3 | FS55-4105 | Exhaust filter cartridge | 1 | pcs | 5.75 | EUR | 1 | R | 2016-06-14 | b | filter_foam | Invented Foams A |
3 | FS55-4106 | Carbon brush set, spare in the box | 1 | set | 2.40 | USD | 1 | = | 2015-11-19 | n | - | Invented Motors B |
2 | FS55-4200 | Suction path
3 | FS55-4201 | Suction hose 38 mm, PVC with steel helix | 1.6 | m | 3.10 | EUR | 1 | R | 2016-01-28 | b | hose | Invented Hoses A | scrap=0.05;quoted=CNY
3 | FS55-4202 | Hose cuff | 2 | pcs | 0.65 | EUR | 1 | R | 2016-03-30 | n | injection_moulding | Invented Mouldings A |
3 | FS55-4203 | Suction bend, moulded | 1 | pcs | 2.35 | EUR | 1 | R | 2016-03-30 | b | injection_moulding | Invented Mouldings A | custom
1 | FS55-5000 | Chassis and body
2 | FS55-5100 | Frame
3 | FS55-5101 | Main frame, welded steel, powder coated | 1 | pcs | 68.00 | EUR | 1 | R | 2016-05-19 | b | sheet_metal | Invented Sheet Metal A | custom
3 | FS55-5102 | Battery tray | 1 | pcs | 11.20 | EUR | 1 | R | 2016-05-19 | b | sheet_metal | Invented Sheet Metal A | custom
3 | FS55-5103 | Ballast plate, cast iron | 2 | pcs | 6.30 | EUR | 1 | - | - | n | - | Invented Castings B |
3 | FS55-5104 | Side roller bumper | 4 | pcs | 1.45 | EUR | 1 | R | 2015-08-13 | b | castor_wheel | Invented Wheels A |
3 | FS55-5105 | Hexagon bolt M10 x 30 | 8 | pcs | 8.90 | EUR | 100 | R | 2016-04-05 | b | fastener | Invented Fasteners A |
3 | FS55-5106 | Washer M10 | 16 | pcs | 7.40 | EUR | 1000 | R | 2016-04-05 | n | fastener | Invented Fasteners A |
3 | FS55-5107 | Blind rivet nut M6 | 24 | pcs | 5.20 | EUR | 100 | = | 2024-09-10 | r | fastener | Invented Fasteners A |
2 | FS55-5200 | Handle and covers
3 | FS55-5201 | Push handle, bent tube | 1 | pcs | 9.60 | EUR | 1 | R | 2016-05-19 | b | sheet_metal | Invented Sheet Metal A | custom
3 | FS55-5202 | Handle grip, two component | 2 | pcs | 1.95 | EUR | 1 | R | 2016-03-30 | b | injection_moulding | Invented Mouldings A | custom
3 | FS55-5203 | Front cover, ABS | 1 | pcs | 10.40 | EUR | 1 | R | 2016-03-30 | h | injection_moulding | Invented Mouldings A | custom
3 | FS55-5204 | Rear cover, ABS | 1 | pcs | 8.75 | EUR | 1 | R | 2016-03-30 | b | injection_moulding | Invented Mouldings A | custom
3 | FS55-5205 | Control bail with micro switch carrier | 1 | set | 6.85 | EUR | 1 | R | 2016-05-19 | n | sheet_metal | Invented Sheet Metal A | custom;safety
3 | FS55-5206 | Cup holder | 1 | pcs | 1.10 | EUR | 1 | = | 2025-03-18 | r | injection_moulding | Invented Mouldings A |
3 | FS55-5207 | Quarter turn fastener | 6 | pcs | 0.58 | EUR | 1 | R | 2016-04-05 | n | fastener | Invented Fasteners A |
1 | FS55-6000 | Battery and charger
2 | FS55-6100 | Battery pack, lead acid
3 | FS55-6101 | Battery 12 V 115 Ah, AGM | 2 | pcs | 148.00 | EUR | 1 | = | 2017-02-14 | h | lead_acid_battery | Invented Batteries A | agreed=0.01@2019-12-31
3 | FS55-6102 | Battery cable 25 mm2 with lugs | 3 | pcs | 5.80 | EUR | 1 | R | 2016-06-07 | b | wire_harness | Invented Cables A | custom
3 | FS55-6103 | Battery connector 175 A | 1 | pair | 9.40 | USD | 1 | = | 2016-06-22 | b | connector | Invented Connectors A | safety
3 | FS55-6104 | Hold-down strap | 2 | pcs | 1.35 | EUR | 1 | R | - | n | - | - |
2 | FS55-6200 | Charger
3 | FS55-6201 | Charger 24 V 12 A, transformer type | 1 | pcs | 66.50 | EUR | 1 | R | 2015-10-27 | b | transformer | Invented Chargers A |
3 | FS55-6202 | Mains cable with plug | 1 | pcs | 3.90 | EUR | 1 | R | 2016-06-07 | b | wire_harness | Invented Cables A | safety
3 | FS55-6203 | Cable recess, moulded | 1 | pcs | 2.15 | EUR | 1 | R | 2016-03-30 | n | injection_moulding | Invented Mouldings A | custom
1 | FS55-7000 | Electronics
2 | FS55-7100 | Power electronics
3 | FS55-7101 | Traction controller 24 V 60 A | 1 | pcs | 61.00 | USD | 1 | = | 2015-10-15 | h | motor_controller | Invented Electronics A |
3 | FS55-7102 | Brush motor relay 100 A | 2 | pcs | 6.20 | USD | 1 | = | 2016-02-11 | b | switch_relay | Invented Relays A |
3 | FS55-7103 | Main contactor 24 V 150 A | 1 | pcs | 17.80 | USD | 1 | = | 2016-02-11 | h | switch_relay | Invented Relays A | safety
3 | FS55-7104 | Fuse holder with strip fuse | 3 | pcs | 1.85 | USD | 1 | = | 2016-02-11 | b | switch_relay | Invented Relays A | safety
3 | FS55-7105 | Heat sink, extruded | 1 | pcs | 3.60 | EUR | 1 | R | 2016-02-29 | n | aluminium_casting | Invented Castings A |
2 | FS55-7200 | Control unit
3 | FS55-7210 | Control board, assembled
4 | FS55-7211 | Printed circuit board, 4 layers | 1 | pcs | 3.85 | USD | 1 | = | 2016-04-26 | h | circuit_board | Invented Boards A | custom
4 | FS55-7212 | Microcontroller 32 bit, 100 pins | 1 | pcs | 3.40 | USD | 1 | = | 2016-04-26 | h | semiconductor | Invented Chips A |
4 | FS55-7213 | Power transistor, 60 V | 8 | pcs | 0.86 | USD | 1 | = | 2016-04-26 | h | semiconductor | Invented Chips A |
4 | FS55-7214 | Gate driver | 4 | pcs | 1.15 | USD | 1 | = | 2016-04-26 | b | semiconductor | Invented Chips A |
4 | FS55-7215 | CAN transceiver | 1 | pcs | 0.74 | USD | 1 | = | 2016-04-26 | b | semiconductor | Invented Chips A |
4 | FS55-7216 | Voltage regulator | 2 | pcs | 0.62 | USD | 1 | = | 2016-04-26 | b | semiconductor | Invented Chips A |
4 | FS55-7217 | Current sensor, Hall effect | 3 | pcs | 1.48 | USD | 1 | = | 2016-04-26 | b | sensor | Invented Sensors A |
4 | FS55-7218 | Electrolytic capacitor 1000 uF | 6 | pcs | 31.00 | JPY | 1 | = | 2016-05-10 | b | - | Invented Capacitors A |
4 | FS55-7219 | Small parts, resistors and ceramics | 1 | set | 2.10 | USD | 1 | R | - | n | - | - | note=sum of 84 positions
4 | FS55-7220 | Board connector 24 way | 2 | pcs | 142.00 | JPY | 1 | = | 2016-05-10 | h | connector | Invented Connectors B |
4 | FS55-7221 | Board assembly and test | 1 | pcs | 7.60 | EUR | 1 | R | 2016-05-24 | b | circuit_board | Invented Boards A | custom;hide
3 | FS55-7231 | Controller housing, ABS | 1 | pcs | 3.40 | EUR | 1 | R | 2016-03-30 | b | injection_moulding | Invented Mouldings A | custom
3 | FS55-7232 | Housing seal | 1 | pcs | 0.60 | EUR | 1 | R | 2016-01-20 | n | seal | Invented Seals A |
3 | FS55-7233 | Thread forming screw 4 x 16 | 10 | pcs | 1.20 | EUR | 100 | = | 2025-05-06 | r | fastener | Invented Fasteners A |
2 | FS55-7300 | Operator panel
3 | FS55-7301 | Indicator panel, LED segments, custom legend | 1 | pcs | 29.50 | EUR | 1 | R | 2016-03-22 | b | indicator_panel | Invented Panels A | custom
3 | FS55-7302 | Key switch | 1 | pcs | 5.20 | USD | 1 | = | 2016-02-11 | n | switch_relay | Invented Relays A |
3 | FS55-7303 | Emergency stop button | 1 | pcs | 8.90 | USD | 1 | = | 2016-02-11 | b | switch_relay | Invented Relays A | safety
3 | FS55-7304 | Rocker switch, illuminated | 3 | pcs | 1.20 | USD | 1 | = | 2016-02-11 | b | switch_relay | Invented Relays A |
3 | FS55-7305 | Speed potentiometer | 1 | pcs | 3.75 | EUR | 1 | - | - | n | sensor | Invented Sensors A |
3 | FS55-7306 | Hour meter | 1 | pcs | 880.00 | JPY | 1 | = | 2016-05-10 | b | indicator_panel | Invented Meters A |
3 | FS55-7307 | Horn 24 V | 1 | pcs | 14.50 | CNY | 1 | = | 2016-03-08 | n | - | Invented Horns A |
3 | FS55-7308 | Panel foil, printed | 1 | pcs | 1.65 | EUR | 1 | R | 2016-06-28 | b | label | Invented Labels A | custom
2 | FS55-7400 | Sensors and lights
3 | FS55-7401 | Seat-of-handle presence switch | 1 | pcs | 2.85 | USD | 1 | = | 2015-11-12 | b | sensor | Invented Sensors A | safety
3 | FS55-7402 | Temperature sensor, motor | 3 | pcs | 1.10 | USD | 1 | = | 2015-11-12 | h | sensor | Invented Sensors A |
3 | FS55-7403 | Wheel speed sensor | 2 | pcs | 3.95 | USD | 1 | = | 2015-11-12 | h | sensor | Invented Sensors A |
3 | FS55-7404 | Recovery tank float switch | 1 | pcs | 1.95 | USD | 1 | = | 2015-11-12 | b | sensor | Invented Sensors A |
3 | FS55-7405 | Beacon light, LED | 1 | pcs | 42.00 | CNY | 1 | = | 2016-03-08 | b | - | Invented Lights A | note=market not known
1 | FS55-8000 | Harness
2 | FS55-8101 | Main harness, 64 circuits | 1 | pcs | 38.70 | EUR | 1 | R | 2016-06-07 | h | wire_harness | Invented Cables A | custom
2 | FS55-8102 | Deck harness | 1 | pcs | 12.60 | EUR | 1 | R | 2016-06-07 | b | wire_harness | Invented Cables A | custom
2 | FS55-8103 | Panel harness | 1 | pcs | 8.30 | EUR | 1 | R | 2016-06-07 | b | wire_harness | Invented Cables A | custom
2 | FS55-8104 | Sealed connector 12 way, set | 6 | set | 1.28 | USD | 1 | = | 2016-06-22 | b | connector | Invented Connectors A |
2 | FS55-8105 | Power cable 16 mm2 | 3.2 | m | 2.85 | EUR | 1 | R | 2016-06-07 | b | wire_harness | Invented Cables A | scrap=0.04
2 | FS55-8106 | Cable tie 200 mm | 30 | pcs | 14.00 | EUR | 1000 | = | 2025-05-06 | r | injection_moulding | Invented Fasteners A |
2 | FS55-8107 | Corrugated sleeve | 4.5 | m | 0.42 | EUR | 1 | R | 2016-01-28 | n | hose | Invented Hoses A | scrap=0.05
2 | FS55-8108 | Cable gland M20 | 4 | pcs | 0.55 | EUR | 1 | = | 2025-05-06 | r | connector | Invented Connectors A |
1 | FS55-9000 | Packaging and documents
2 | FS55-9101 | Pallet, heat treated | 1 | pcs | 8.40 | EUR | 1 | = | 2025-02-11 | r | packaging | Invented Packaging A |
2 | FS55-9102 | Carton, double wall, printed | 1 | pcs | 9.90 | EUR | 1 | = | 2025-02-11 | r | packaging | Invented Packaging A | custom
2 | FS55-9103 | Foam corner set | 1 | set | 3.20 | EUR | 1 | R | 2016-06-14 | n | filter_foam | Invented Foams A |
2 | FS55-9104 | Strapping | 8 | m | 0.06 | EUR | 1 | - | - | n | packaging | Invented Packaging A |
2 | FS55-9105 | Type plate | 1 | pcs | 0.48 | EUR | 1 | = | 2025-02-11 | r | label | Invented Labels A |
2 | FS55-9106 | Warning label set | 1 | set | 1.35 | EUR | 1 | R | 2016-06-28 | b | label | Invented Labels A | safety
2 | FS55-9107 | Operator manual, printed | 1 | pcs | 1.90 | EUR | 1 | R | 2016-06-28 | b | label | Invented Labels A | hide
1 | FS55-9501 | Inbound freight | 1 | pcs | 21.00 | EUR | 1 | R | - | n | - | - | charge
1 | FS55-9502 | Final assembly labour | 3.1 | h | 34.00 | EUR | 1 | R | - | n | - | - | charge;make
"""

# Parts that the bill does not hold: alternatives in the decisions, and parts of sister machines whose quotes say how the same
# markets moved for this buyer. part no | what | price | currency | date of its first quote | history | commodity | supplier
OTHER_PARTS = """
ALT-3101 | Dosing pump 24 V, brushless, electronically controlled | 52.00 | EUR | 2015-09-21 | o | electronic_pump | Invented Pumps B
ALT-4101 | Suction blower, switched reluctance, custom | 132.00 | EUR | 2015-11-19 | o | turbine_blower | Invented Blowers A
ALT-7301 | Colour display module 4.3 inch | 40.00 | USD | 2016-03-22 | o | display | Invented Displays A
ALT-1101 | Traction motor 24 V 180 W, brushless | 78.00 | EUR | 2015-06-18 | o | brushless_motor | Invented Motors C
ALT-7101 | Brushless traction controller 24 V | 78.00 | USD | 2015-10-15 | o | motor_controller | Invented Electronics A
ALT-6101 | Lithium battery 24 V 2.1 kWh with battery management | 980.00 | EUR | 2017-02-14 | w | lithium_battery | Invented Batteries B
ALT-6201 | Charger 24 V 12 A, switch mode | 92.00 | USD | 2015-10-27 | o | battery_charger | Invented Chargers B
ALT-1103 | Spring applied electromagnetic brake | 44.00 | EUR | 2015-05-11 | o | electric_brake | Invented Brakes B
ALT-2202 | Linear actuator 24 V 600 N, deck lift | 58.00 | EUR | 2015-03-05 | o | linear_actuator | Invented Actuators A
ALT-5101 | Main frame, cast aluminium, two halves | 88.00 | EUR | 2016-05-19 | o | aluminium_casting | Invented Castings A
ALT-8101 | Main harness, made in house: wire and terminals | 21.00 | EUR | 2016-06-07 | o | wire_harness | Invented Cables A
SM-0201 | Dosing pump 12 V, brushless | 39.00 | EUR | 2014-05-20 | s | electronic_pump | Invented Pumps B
SM-0202 | Detergent pump, brushless | 31.50 | EUR | 2015-03-12 | s | electronic_pump | Invented Pumps C
SM-0203 | Fan motor, brushless 120 W | 34.00 | EUR | 2014-02-18 | s | brushless_motor | Invented Motors C
SM-0204 | Hub motor, brushless 250 W | 71.00 | EUR | 2015-01-22 | s | brushless_motor | Invented Motors C
SM-0205 | Lithium battery 36 V 0.5 kWh | 268.00 | EUR | 2014-10-09 | s | lithium_battery | Invented Batteries B
SM-0206 | Lithium battery 24 V 1.0 kWh | 455.00 | EUR | 2016-09-14 | s | lithium_battery | Invented Batteries C
SM-0207 | Charger 24 V 6 A, switch mode | 51.00 | USD | 2014-06-11 | s | battery_charger | Invented Chargers B
SM-0208 | Charger 36 V 3 A, switch mode | 33.00 | USD | 2015-02-05 | s | battery_charger | Invented Chargers C
SM-0209 | Colour display 2.8 inch | 21.50 | USD | 2014-08-28 | s | display | Invented Displays A
SM-0210 | Controller 36 V 30 A, brushless | 44.00 | USD | 2014-11-04 | s | motor_controller | Invented Electronics A
SM-0211 | Holding brake 3 Nm, electromagnetic | 36.00 | EUR | 2015-02-19 | s | electric_brake | Invented Brakes B
SM-0212 | Spring applied brake 8 Nm | 52.00 | EUR | 2016-03-03 | s | electric_brake | Invented Brakes B
SM-0213 | Battery 12 V 76 Ah, AGM | 103.00 | EUR | 2014-02-11 | s | lead_acid_battery | Invented Batteries A
SM-0214 | Diaphragm pump, belt driven, small | 18.90 | EUR | 2014-03-27 | s | mechanical_pump | Invented Pumps A
SM-0215 | Charger 12 V 8 A, transformer type | 38.00 | EUR | 2014-10-21 | s | transformer | Invented Chargers A
SM-0216 | Traction motor 24 V 120 W, brushed | 37.50 | EUR | 2014-06-05 | s | brushed_motor | Invented Motors A
SM-0217 | Suction blower, switched reluctance, small | 97.00 | EUR | 2014-09-16 | s | turbine_blower | Invented Blowers A
SM-0218 | Linear actuator 24 V 300 N | 41.00 | EUR | 2014-04-10 | s | linear_actuator | Invented Actuators A
SM-0219 | Ultrasonic distance sensor | 7.80 | USD | 2014-07-15 | s | sensor | Invented Sensors A
"""

# ---------------------------------------------------------------------------------------------------------- decisions
# A line starting with "=" opens a decision: name | title | decided on | years left | cost of switching now | safety | note.
# Below it the elements: option (* the chosen one) | element | kind | part no | qty | amount | currency | basis | low | high | note.
DECISIONS = """
= dosing-pump | Solution pump: belt driven diaphragm pump or brushless dosing pump | 2015-10-15 | 6 | 95000 | n | In 2015 the brushless pump was a custom part made in tens of thousands a year
*belt-driven | Diaphragm pump, belt driven | part | FS55-3101 | 1 | 25.90 | EUR | per_unit | | |
*belt-driven | Relief valve for the excess at full brush speed | part | FS55-3102 | 1 | 4.30 | EUR | per_unit | | | needed only because the pump turns at a fixed ratio
*belt-driven | Toothed belt | part | FS55-3103 | 1 | 2.20 | EUR | per_unit | | |
*belt-driven | Pump bracket with tensioner | part | FS55-3104 | 1 | 3.40 | EUR | per_unit | | |
*belt-driven | Drive sleeve | part | FS55-3105 | 1 | 1.60 | EUR | per_unit | | |
*belt-driven | Fitting and tensioning, 4 minutes | labour | | | 2.30 | EUR | per_unit | 1.80 | 2.90 |
*belt-driven | Battery for the pump losses, 0.05 kWh | energy_in_use | | | 5.60 | EUR | per_unit | 4.20 | 7.50 | excess flow throttled in the valve, belt losses
*belt-driven | Warranty, belt wear | warranty | | | 1.10 | EUR | per_unit | 0.60 | 1.90 |
brushless | Dosing pump, brushless, electronically controlled | part | ALT-3101 | 1 | 52.00 | EUR | per_unit | | | electronic_pump; custom in 2015, a catalogue part today
brushless | Harness branch with connector | part | ALT-3102 | 1 | 2.60 | EUR | per_unit | | | wire_harness
brushless | Power transistor on the control board | part | FS55-7213 | 1 | 0.86 | USD | per_unit | | |
brushless | Fitting, 1 minute | labour | | | 0.60 | EUR | per_unit | 0.40 | 0.90 |
brushless | Warranty, electronics | warranty | | | 1.40 | EUR | per_unit | 0.70 | 2.80 |
brushless | Endurance test and approval | validation | | | 45000 | EUR | once | 35000 | 65000 |
= suction | Suction unit: three stage brush motor or switched reluctance blower | 2015-12-04 | 6 | 60000 | n |
*brush-motor | Suction motor, three stage | part | FS55-4101 | 1 | 74.20 | USD | per_unit | | |
*brush-motor | Warranty, carbon brushes | warranty | | | 3.80 | EUR | per_unit | 2.50 | 5.50 |
reluctance | Suction blower, switched reluctance | part | ALT-4101 | 1 | 132.00 | EUR | per_unit | | | turbine_blower
reluctance | Warranty | warranty | | | 1.20 | EUR | per_unit | 0.60 | 2.20 |
reluctance | Battery saved, 0.03 kWh | energy_in_use | | | -3.30 | EUR | per_unit | -4.50 | -2.40 |
= panel | Operator panel: LED indicator panel or colour display | 2016-04-12 | 3 | 40000 | n | The display is cheaper today, but three years are left to earn its one-time costs
*led-panel | Indicator panel, LED segments | part | FS55-7301 | 1 | 29.50 | EUR | per_unit | | |
*led-panel | Panel foil | part | FS55-7308 | 1 | 1.65 | EUR | per_unit | | |
display | Colour display module | part | ALT-7301 | 1 | 40.00 | USD | per_unit | | | display
display | Cover glass breakage in warranty | warranty | | | 1.60 | EUR | per_unit | 0.90 | 2.80 |
display | Software and screens | engineering | | | 230000 | EUR | once | 180000 | 300000 |
display | Bezel and cover tools | tooling | | | 120000 | EUR | once | 100000 | 150000 |
display | Electromagnetic compatibility and field test | validation | | | 85000 | EUR | once | 65000 | 110000 |
= traction-motor | Traction drive: brushed motor or brushless motor | 2015-07-20 | 7 | 110000 | n | Piece price still favours the brushed motor
*brushed | Traction motor, brushed | part | FS55-1101 | 1 | 46.80 | EUR | per_unit | | |
*brushed | Traction controller | part | FS55-7101 | 1 | 61.00 | USD | per_unit | | |
*brushed | Carbon brush replacement in the service contract | warranty | | | 17.00 | EUR | per_unit | 13.00 | 22.00 |
*brushed | Battery for the motor losses, 0.07 kWh | energy_in_use | | | 7.80 | EUR | per_unit | 6.00 | 10.00 |
*brushed | Noise and interference suppression kit | other | | | 2.10 | EUR | per_unit | 1.70 | 2.60 |
brushless | Traction motor, brushless | part | ALT-1101 | 1 | 78.00 | EUR | per_unit | | | brushless_motor
brushless | Traction controller, brushless | part | ALT-7101 | 1 | 78.00 | USD | per_unit | | | motor_controller
brushless | Warranty, electronics | warranty | | | 2.00 | EUR | per_unit | 1.00 | 3.50 |
= deck-lift | Deck lift: pedal linkage or linear actuator | 2015-04-22 | 5 | 30000 | n | The pedal linkage was never quoted, the actuator once, as a budgetary figure
*pedal | Deck lift linkage with pedal | part | FS55-2202 | 1 | 17.40 | EUR | per_unit | | |
*pedal | Gas spring | part | FS55-2203 | 1 | 7.30 | EUR | per_unit | | |
*pedal | Guide rollers | part | FS55-2205 | 2 | 1.85 | EUR | per_unit | | |
*pedal | Fitting and adjusting, 17 minutes | labour | | | 9.60 | EUR | per_unit | 8.00 | 12.00 |
*pedal | Complaints, bent linkages | quality | | | 6.50 | EUR | per_unit | 3.50 | 10.00 |
actuator | Linear actuator | part | ALT-2202 | 1 | 58.00 | EUR | per_unit | | | linear_actuator
actuator | Power transistors on the control board | part | FS55-7213 | 2 | 0.86 | USD | per_unit | | |
actuator | Fitting, 4 minutes | labour | | | 2.30 | EUR | per_unit | 1.80 | 2.90 |
= battery | Battery: lead acid or lithium | 2017-03-01 | 7 | 240000 | n |
*lead-acid | Batteries 12 V 115 Ah, two | part | FS55-6101 | 2 | 148.00 | EUR | per_unit | | |
*lead-acid | Battery tray | part | FS55-5102 | 1 | 11.20 | EUR | per_unit | | |
*lead-acid | Warranty and goodwill, early replacement | warranty | | | 78.00 | EUR | per_unit | 66.00 | 92.00 |
*lead-acid | Charging losses over the life of the machine | energy_in_use | | | 46.00 | EUR | per_unit | 40.00 | 53.00 |
lithium | Lithium battery 2.1 kWh with management | part | ALT-6101 | 1 | 980.00 | EUR | per_unit | | | lithium_battery
lithium | Ballast to keep the traction | weight | | | 14.00 | EUR | per_unit | 12.00 | 16.00 |
lithium | Dangerous goods shipping | logistics | | | 9.00 | EUR | per_unit | 7.00 | 12.00 |
= brake | Brake: cable operated drum brake or spring applied electromagnetic brake | 2015-05-28 | 6 | 70000 | y |
*drum | Drum brake, cable operated | part | FS55-1103 | 1 | 13.20 | EUR | per_unit | | |
*drum | Brake cable with lever | part | FS55-1104 | 1 | 6.10 | EUR | per_unit | | |
*drum | Fitting and adjusting, 10 minutes | labour | | | 5.70 | EUR | per_unit | 4.80 | 6.80 |
*drum | Warranty, readjusting | warranty | | | 4.60 | EUR | per_unit | 3.20 | 6.40 |
electromagnetic | Spring applied electromagnetic brake | part | ALT-1103 | 1 | 44.00 | EUR | per_unit | | | electric_brake
electromagnetic | Fitting, 2 minutes | labour | | | 1.10 | EUR | per_unit | 0.80 | 1.50 |
electromagnetic | Type test | validation | | | 38000 | EUR | once | 30000 | 52000 |
= charger | Charger: transformer type or switch mode | 2015-11-10 | 6 | 35000 | n |
*transformer | Charger 24 V 12 A, transformer type | part | FS55-6201 | 1 | 66.50 | EUR | per_unit | | |
*transformer | Charging losses over the life of the machine | energy_in_use | | | 9.50 | EUR | per_unit | 7.00 | 13.00 |
*transformer | Reinforced carrier for 6 kg | weight | | | 1.90 | EUR | per_unit | 1.50 | 2.40 |
switch-mode | Charger 24 V 12 A, switch mode | part | ALT-6201 | 1 | 92.00 | USD | per_unit | | | battery_charger
switch-mode | Warranty, electronics | warranty | | | 2.20 | EUR | per_unit | 1.20 | 3.60 |
switch-mode | Mains approval | validation | | | 24000 | EUR | once | 18000 | 32000 |
= frame | Main frame: welded steel or cast aluminium | 2016-06-02 | 6 | 20000 | n |
*steel | Main frame, welded steel | part | FS55-5101 | 1 | 68.00 | EUR | per_unit | | |
aluminium | Main frame, cast aluminium, two halves | part | ALT-5101 | 1 | 88.00 | EUR | per_unit | | | aluminium_casting
aluminium | Weight saved | weight | | | -3.00 | EUR | per_unit | -4.50 | -1.80 |
aluminium | Casting tools | tooling | | | 185000 | EUR | once | 160000 | 220000 |
= harness | Main harness: bought or made in house | 2016-06-20 | 5 | 15000 | n |
*bought | Main harness, bought | part | FS55-8101 | 1 | 38.70 | EUR | per_unit | | |
in-house | Wire and terminals | part | ALT-8101 | 1 | 21.00 | EUR | per_unit | | | wire_harness
in-house | Cutting, crimping, testing, 48 minutes | labour | | | 28.50 | EUR | per_unit | 25.00 | 33.00 |
in-house | Supervision and floor space | overhead | | | 54000 | EUR | per_year | 45000 | 66000 |
in-house | Crimping and test equipment | capital | | | 160000 | EUR | once | 130000 | 200000 |
"""


# ------------------------------------------------------------------------------------------------------------- process
@dataclass(frozen=True)
class Market:
    """One commodity: how it learns, what it is made of, how many were made."""

    name: str
    exponent: float
    materials_share: float
    basket: dict[str, float]
    noise: float
    unit: str
    years: tuple[int, ...]
    volumes: tuple[float, ...]
    cumulative: tuple[float, ...]  # at the end of each of the years; the year before the first is years[0] - 1
    makers: tuple[int, ...]
    grows: bool

    def log_cumulative(self, when: float) -> float:
        """Log of cumulative volume at a moment given as a decimal year, log-linear between year ends."""
        return float(np.interp(when, [y + 1.0 for y in self.years], np.log(self.cumulative)))


@dataclass(frozen=True)
class Part:
    """A part with a booked or first price, on which its price history hangs."""

    no: str
    what: str
    price: float
    currency: str
    on: date
    history: str
    market: str
    supplier: str
    annual: float
    custom: bool = False


def rows(block: str) -> list[list[str]]:
    """Cells of a table written as a text block, one row a line."""
    return [[c.strip() for c in line.split("|")] for line in block.strip().splitlines()]


def noise(seed: int, *what: object) -> random.Random:
    """Random numbers of its own for each named purpose, the same on every machine."""
    return random.Random(":".join(str(w) for w in (seed, *what)))  # noqa: S311  (invented prices, not secrets)


def decimal_year(day: date) -> float:
    """Moment as a decimal year."""
    return day.year + (day - date(day.year, 1, 1)).days / 365.25


def markets(seed: int) -> dict[str, Market]:
    """Markets with their yearly volumes; a tenth of a market's growth is noise."""
    result = {}
    for name, learning, share, basket, sd, unit, before, form, makers in rows(MARKETS):
        years = tuple(range(2008, AS_OF.year + 1))
        shape, *numbers = form.split()
        values = [_volume(shape, [float(n) for n in numbers], year) for year in years]
        random_year = noise(seed, "volume", name)
        volumes = [float(f"{v * math.exp(random_year.gauss(0, 0.03)):.3g}") for v in values]
        total, cumulative = float(before), []
        for volume in volumes:
            total += volume
            cumulative.append(float(f"{total:.5g}"))
        first, last = (float(n) for n in makers.split(">"))
        result[name] = Market(
            name=name,
            exponent=-math.log2(1 - float(learning)),
            materials_share=float(share),
            basket={k: float(v) for k, v in (pair.split(":") for pair in basket.split(";"))},
            noise=float(sd),
            unit=unit,
            years=years,
            volumes=tuple(volumes),
            cumulative=tuple(cumulative),
            makers=tuple(round(first * (last / first) ** (k / (len(years) - 2))) for k in range(len(years))),
            grows=shape == "rise",
        )
    return result


def _volume(shape: str, numbers: list[float], year: int) -> float:
    if shape == "rise":
        ceiling, middle, steepness = numbers
        return ceiling / (1 + math.exp(-steepness * (year - middle)))
    start, rate = numbers
    return start * (1 + rate) ** (year - INPUT_FIRST)


INPUT_FIRST = 2008


def input_prices() -> dict[str, list[float]]:
    """Yearly values of each input price series."""
    return {row[0]: [float(v) for v in row[4].split()] for row in rows(INPUT_PRICES)}


@dataclass(frozen=True)
class World:
    """Markets and input prices, and the prices that follow from them."""

    seed: int
    markets: dict[str, Market]
    inputs: dict[str, list[float]]

    def input_price(self, series: str, when: float) -> float:
        """Yearly mean taken as the value of mid-year, linear between, flat outside."""
        return float(np.interp(when, [y + 0.5 for y in INPUT_YEARS], self.inputs[series]))

    def expected(self, part: Part, day: date) -> float:
        """Price without noise: see the formula at the head of this file."""
        market, then, now = self.markets[part.market], decimal_year(part.on), decimal_year(day)
        inflation = self._ratio("general_inflation", then, now)
        materials = sum(w * self._ratio(series, then, now) for series, w in market.basket.items())
        exponent = market.exponent * (0.5 if part.custom else 1.0)  # a custom part gets half of its market's learning
        learned = math.exp(-exponent * (market.log_cumulative(now) - market.log_cumulative(then)))
        return part.price * (inflation * learned + market.materials_share * (materials - inflation))

    def _ratio(self, series: str, then: float, now: float) -> float:
        return self.input_price(series, now) / self.input_price(series, then)

    def prices(self, part: Part, days: list[date], kinds: list[str]) -> list[float]:
        """Prices on the given days, at the quantity of the booked price; exactly the booked one on its own day."""
        market, draw = self.markets[part.market], noise(self.seed, "price", part.no)
        walk = {part.on: 0.0}
        for direction in (
            sorted(d for d in days if d > part.on),
            sorted((d for d in days if d < part.on), reverse=True),
        ):
            before, level = part.on, 0.0
            for day in direction:
                level += draw.gauss(0, 1) * market.noise * math.sqrt(abs((day - before).days) / 365.25)
                walk[day], before = level, day
        return [
            part.price
            if day == part.on
            else self.expected(part, day) * math.exp(walk[day] + draw.gauss(0, 1) * QUOTE_NOISE[kind])
            for day, kind in zip(days, kinds, strict=True)
        ]


# --------------------------------------------------------------------------------------------------------------- parts
def bom_rows() -> list[dict[str, str]]:
    """Rows of the bill as dictionaries; assemblies have no price."""
    names = "level part_no description qty uom price currency per cost_date quote_date history commodity supplier flags"
    result = []
    for cells in rows(BOM):
        padded = cells + [""] * (len(names.split()) - len(cells))
        row = dict(zip(names.split(), padded, strict=True))
        flags = dict(f.partition("=")[::2] for f in row["flags"].split(";") if f)
        result.append(
            {k: "" if v == "-" and k != "cost_date" else v for k, v in row.items()}
            | {"_" + k: v or "y" for k, v in flags.items()}
        )
    return result


def bom_parts(bill: list[dict[str, str]]) -> list[Part]:
    """Parts of the bill that have quotes."""
    fx = reference_rates("EUR")
    parts = []
    for row in bill:
        if not row["price"] or not row["quote_date"] or row["history"] == "n" or not row["commodity"]:
            continue
        on = date.fromisoformat(row["quote_date"])
        price, currency = float(row["price"]) / float(row["per"]), row["currency"]
        if "_quoted" in row:
            price, currency = neat(price / fx.rate([row["_quoted"]], [np.datetime64(on)])[0]), row["_quoted"]
        parts.append(Part(row["part_no"], row["description"], price, currency, on, row["history"], row["commodity"],
                          row["supplier"], 6000 * float(row["qty"]), "_custom" in row))  # fmt: skip
    return parts


def other_parts() -> list[Part]:
    """Alternatives and parts of sister machines."""
    return [
        Part(no, what, float(price), currency, date.fromisoformat(on), history, market, supplier, 6000.0 if history in "ow" else 2500.0)
        for no, what, price, currency, on, history, market, supplier in rows(OTHER_PARTS)
    ]  # fmt: skip


def neat(price: float) -> float:
    """Price as a supplier writes it: four significant digits, at most four decimals."""
    return float(f"{price:.4g}") if price < 1000 else float(f"{price:.0f}")


def workday(day: date) -> date:
    """Day itself, or the Monday after a weekend."""
    return day + timedelta(days=(7 - day.weekday()) if day.weekday() > 4 else 0)


def occasions(part: Part, seed: int) -> list[tuple[date, str]]:
    """Days on which a part was quoted or bought, and how firm the price was."""
    draw = noise(seed, "occasions", part.no)
    first = part.on

    def around(years: float) -> date:
        return workday(first + timedelta(days=round(365.25 * years + draw.uniform(-60, 60))))

    found: list[tuple[date, str]]
    if part.history == "o":
        found = [(around(-0.7), "budgetary"), (first, "budgetary")]
    elif part.history == "w":
        found = [
            (first, "firm"),
            (date(2019, 3, 12), "budgetary"),
            (date(2021, 9, 28), "firm"),
            (date(2023, 11, 14), "firm"),
            (date(2026, 4, 21), "firm"),
        ]
    elif part.history == "s":
        found = [(first, "firm")]
        when = 1.5
        while around(when) < date(2026, 3, 1):
            found.append((around(when), draw.choice(["firm", "purchase", "purchase", "catalogue"])))
            when += draw.uniform(1.2, 2.4)
    elif part.history == "r":
        found = [
            (date(2016, 2, 9) + timedelta(days=draw.randrange(300)), "firm"),
            (date(2019, 3, 5) + timedelta(days=draw.randrange(300)), "purchase"),
            (date(2022, 2, 8) + timedelta(days=draw.randrange(300)), "firm"),
            (first, "firm"),
            (date(2026, 2, 3) + timedelta(days=draw.randrange(60)), "purchase"),
        ]
    else:
        found = [(around(-draw.uniform(1.2, 2.0)), draw.choice(["budgetary", "firm"])), (first, "firm")]
        if part.history == "h":
            found += [
                (around(draw.uniform(2.0, 3.0)), "purchase"),
                (around(draw.uniform(4.2, 5.4)), "purchase"),
                (around(draw.uniform(6.5, 8.5)), draw.choice(["firm", "purchase", "budgetary"])),
            ]
    return sorted({workday(d) if d != first else d: k for d, k in found if d >= date(2013, 1, 1)}.items())


def quotes(world: World, parts: list[Part]) -> list[list[object]]:
    """Quote rows with their price breaks."""
    result: list[list[object]] = []
    for part in parts:
        planned = occasions(part, world.seed)
        days, kinds = [d for d, _ in planned], [k for _, k in planned]
        draw = noise(world.seed, "breaks", part.no)
        for day, kind, price in zip(days, kinds, world.prices(part, days, kinds), strict=True):
            annual = (
                part.annual if day <= date(2018, 12, 31) else part.annual * (1.5 if part.history not in "s" else 1.2)
            )
            level = price * (annual / part.annual) ** -PRICE_BREAK_SLOPE
            steps = (1.0,) if kind in ("purchase", "budgetary") else draw.choice([(0.1, 0.3, 1.0), (0.2, 1.0), (1.0,)])
            for step in steps:
                at_step = neat(level * step**-PRICE_BREAK_SLOPE)
                min_qty = max(1, round(annual * step / 4, -1 if annual * step > 100 else 0))
                valid = day + timedelta(days=draw.choice([60, 90, 180])) if kind != "purchase" else ""
                tools = (
                    TOOLS.get(part.market, 0) * round(draw.uniform(0.6, 1.8), 1)
                    if part.custom and day == part.on and step == 1.0
                    else ""
                )
                result.append(
                    [
                        part.no,
                        day,
                        at_step,
                        part.currency,
                        int(min_qty),
                        int(annual),
                        part.supplier,
                        kind,
                        valid,
                        tools or "",
                        part.market,
                    ]
                )
    return sorted(result, key=lambda r: (str(r[0]), str(r[1]), r[4]))


TOOLS = {"injection_moulding": 22000, "aluminium_casting": 30000, "rotational_moulding": 9000, "sheet_metal": 2500}


# --------------------------------------------------------------------------------------------------------------- files
def rolled(bill: list[dict[str, str]]) -> list[float]:
    """Cost of one of each row in euro, at the rate of the quote's day (else the cost date), scrap as net / (1 - scrap)."""
    fx = reference_rates("EUR")
    costs = [0.0] * len(bill)
    sums: dict[int, float] = {}
    for k in range(len(bill) - 1, -1, -1):
        row, level = bill[k], int(bill[k]["level"])
        if row["price"]:
            day = row["quote_date"] or {"R": RELEASE, "-": AS_OF.isoformat()}.get(row["cost_date"], row["cost_date"])
            rate = float(fx.rate([row["currency"]], [np.datetime64(day)])[0])
            costs[k] = float(row["price"]) / float(row["per"]) * rate
            quantity = float(row["qty"]) / (1 - float(row.get("_scrap", 0)))
        else:
            costs[k], quantity = sums.pop(level + 1, 0.0), 1.0
        sums[level] = sums.get(level, 0.0) + costs[k] * quantity
    return costs


def cost_date(row: dict[str, str]) -> date | None:
    """Date written beside the booked cost."""
    text = {"R": RELEASE, "=": row["quote_date"], "-": ""}.get(row["cost_date"], row["cost_date"])
    return date.fromisoformat(text) if text else None


BOM_HEADER = ("Level", "Part no.", "Description", "Qty", "Unit", "Unit cost", "Currency", "Price per", "Cost date", "Commodity", "Supplier",
              "Make or buy", "Sourcing", "Scrap", "Safety relevant", "Agreed reduction", "Agreed until", "Note")  # fmt: skip


def write_bom(path: Path, bill: list[dict[str, str]]) -> None:
    """Workbook as an engineering office keeps it: title rows, a header, the lines, a total, a sheet of notes."""
    book = xlsxwriter.Workbook(path, {"in_memory": True})
    book.set_properties({"title": "FS55 (invented)", "created": datetime(2026, 6, 30)})  # noqa: DTZ001  (a fixed stamp)
    bold, day, grey = (
        book.add_format(f)
        for f in ({"bold": True}, {"num_format": "yyyy-mm-dd"}, {"italic": True, "font_color": "#555555"})
    )
    head = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
    sheet = book.add_worksheet("BOM")
    sheet.write(0, 0, "Bill of materials FS55-0000, floor scrubber 55 cm", bold)
    sheet.write(1, 0, "INVENTED DATA: no real product, part, supplier or price", grey)
    sheet.write(2, 0, f"Release {RELEASE}, {ANNUAL_VOLUME} machines a year; assembly costs are rolled up in euro", grey)
    for c, text in enumerate(BOM_HEADER):
        sheet.write(4, c, text, head)
    costs = rolled(bill)
    for r, (row, cost) in enumerate(zip(bill, costs, strict=True), start=5):
        leaf = bool(row["price"])
        cells = [
            int(row["level"]), row["part_no"], row["description"], float(row["qty"]) if leaf else 1, row["uom"] if leaf else "pcs",
            float(row["price"]) if leaf else round(cost, 2), row["currency"] if leaf else "EUR", int(row["per"]) if leaf else 1,
            cost_date(row) if leaf else None, "" if "_hide" in row or "_charge" in row else row["commodity"], row["supplier"],
            "make" if not leaf or "_make" in row else "buy", ("custom" if "_custom" in row else "standard") if leaf and row["commodity"] else "",
            float(row["_scrap"]) if "_scrap" in row else None, "yes" if "_safety" in row else "",
            float(row["_agreed"].split("@")[0]) if "_agreed" in row else None,
            date.fromisoformat(row["_agreed"].split("@")[1]) if "_agreed" in row else None, row.get("_note", ""),
        ]  # fmt: skip
        for c, value in enumerate(cells):
            if isinstance(value, date):
                sheet.write_datetime(r, c, datetime(value.year, value.month, value.day), day)  # noqa: DTZ001
            elif value not in ("", None):
                sheet.write(r, c, value, bold if not leaf and c < 3 else None)
    last = 5 + len(bill) + 1
    sheet.write(last, 2, "Total cost per machine", bold)
    sheet.write(last, 5, round(costs[0], 2), bold)
    sheet.write(last, 6, "EUR", bold)
    sheet.freeze_panes(5, 3)
    for c, width in enumerate((6, 12, 58, 7, 6, 10, 9, 9, 11, 20, 26, 9, 10, 7, 9, 10, 11, 30)):
        sheet.set_column(c, c, width)
    notes = book.add_worksheet("Notes")
    for r, text in enumerate((
        "Everything in this workbook is invented for a sample audit.",
        f"Cost date {RELEASE} is the release of the bill: many of its costs rest on older quotes, see quotes.csv.",
        "Total: euro at the rate of each quote's day; scrapped quantity = quantity / (1 - scrap).",
    )):  # fmt: skip
        notes.write(r, 0, text)
    book.close()


DECISION_HEADER = ("decision", "title", "option", "chosen", "element", "kind", "part_no", "qty", "amount", "currency", "basis", "low", "high", "date",
                   "commodity", "sourcing", "decided_on", "annual_volume", "years_left", "change_cost", "safety_relevant", "note")  # fmt: skip


def decision_rows(others: dict[str, Part]) -> list[list[object]]:
    """Rows of the decision register."""
    result: list[list[object]] = []
    head: list[str] = []
    for cells in rows(DECISIONS):
        if cells[0].startswith("="):
            head = [cells[0].lstrip("= "), *cells[1:]]
            continue
        option, element, kind, part, qty, amount, currency, basis, low, high, remark = (*cells, "")[:11]
        name, title, decided, years, change, safety, reason = head
        market, _, rest = remark.partition(";") if part.startswith("ALT") else ("", "", remark)
        on = others[part].on if part in others else date.fromisoformat(decided)
        result.append([
            name, title, option.lstrip("*"), "yes" if option.startswith("*") else "no", element, kind, part, number(qty), number(amount), currency, basis,
            number(low), number(high), on if kind == "part" else None, market, "standard" if market else "", date.fromisoformat(decided),
            ANNUAL_VOLUME, number(years), number(change), "yes" if safety == "y" else "no", rest.strip() or reason,
        ])  # fmt: skip
    return result


def number(text: str) -> float | None:
    """Number of a cell, None where it is empty."""
    return float(text) if text else None


def write_decisions(path: Path, register: list[list[object]]) -> None:
    """Decision register as a workbook."""
    book = xlsxwriter.Workbook(path, {"in_memory": True})
    book.set_properties({"title": "FS55 decisions (invented)", "created": datetime(2026, 6, 30)})  # noqa: DTZ001
    bold, day = book.add_format({"bold": True, "bottom": 1}), book.add_format({"num_format": "yyyy-mm-dd"})
    sheet = book.add_worksheet("Decisions")
    sheet.write(0, 0, "Decision register FS55-0000: INVENTED DATA", book.add_format({"bold": True}))
    for c, text in enumerate(DECISION_HEADER):
        sheet.write(2, c, text, bold)
    for r, cells in enumerate(register, start=3):
        for c, value in enumerate(cells):
            if isinstance(value, date):
                sheet.write_datetime(r, c, datetime(value.year, value.month, value.day), day)  # noqa: DTZ001
            elif value not in ("", None):
                sheet.write(r, c, value)
    for c, width in enumerate((14, 30, 14, 8, 44, 14, 11, 6, 10, 9, 9, 9, 9, 11, 18, 10, 11, 9, 9, 10, 9, 60)):
        sheet.set_column(c, c, width)
    sheet.freeze_panes(3, 5)
    book.close()


def write_csv(path: Path, header: tuple[str, ...], lines: list[list[object]]) -> None:
    """Comma-separated, line feeds, floats without trailing noise."""
    with path.open("w", encoding="utf-8", newline="") as f:
        out = csv.writer(f, lineterminator="\n")
        out.writerow(header)
        out.writerows(
            [[f"{v:.10g}" if isinstance(v, float) else "" if v is None else v for v in line] for line in lines]
        )


def volume_rows(world: World) -> list[list[object]]:
    """Published years of each market: some end a year early, as publications do."""
    result: list[list[object]] = []
    for name, market in sorted(world.markets.items()):
        last = 2024 if noise(0, "vintage", name).random() < 0.3 and not market.grows else 2025
        for year, volume, total, makers in zip(
            market.years, market.volumes, market.cumulative, market.makers, strict=True
        ):
            if year <= last:
                counted = (
                    [makers, round(1.6 / makers**0.75, 3)] if market.grows or name == "turbine_blower" else ["", ""]
                )
                result.append([name, year, volume, total, market.unit, *counted, "invented for this sample"])
    return result


def standard_rows(world: World, bill: list[dict[str, str]], parts: list[Part]) -> list[list[object]]:
    """Standard costs as finance keeps them: the booked cost in euro, and what was last paid.

    What is paid lies between the booked cost and the market: agreements lag.
    """
    by_no = {p.no: p for p in parts}
    result: list[list[object]] = []
    for row, cost in zip(bill, rolled(bill), strict=True):
        if not row["price"] or "_charge" in row:
            continue
        draw, annual = noise(world.seed, "standard", row["part_no"]), ANNUAL_VOLUME * float(row["qty"])
        last, on = None, None
        if row["part_no"] in by_no and draw.random() < 0.7:
            part = by_no[row["part_no"]]
            on = workday(date(2025, 7, 1) + timedelta(days=draw.randrange(340)))
            market = world.expected(part, on) / part.price
            last = neat(cost * math.sqrt(max(market, 0.2)) * math.exp(draw.gauss(0, 0.01)))
        set_on = cost_date(row) or date(2017, 3, 31)
        stock = round(annual * draw.uniform(0.02, 0.12))
        result.append([row["part_no"], round(cost, 4), "EUR", set_on, stock, annual, last, on])
    return result


def build(out: Path, *, seed: int = SEED) -> None:
    """Write the data files of the sample audit."""
    world = World(seed, markets(seed), input_prices())
    bill = bom_rows()
    inside, outside = bom_parts(bill), other_parts()
    write_bom(out / "bom.xlsx", bill)
    write_decisions(out / "decisions.xlsx", decision_rows({p.no: p for p in outside}))
    write_csv(out / "quotes.csv", ("part_no", "quote_date", "unit_price", "currency", "min_qty", "annual_qty", "supplier", "kind", "valid_until", "one_time_cost",
              "commodity"), quotes(world, inside + outside))  # fmt: skip
    write_csv(
        out / "volumes.csv",
        ("commodity", "period", "volume", "cumulative_volume", "unit", "suppliers", "top_share", "source"),
        volume_rows(world),
    )
    write_csv(out / "input_prices.csv", ("series", "period", "value", "unit", "currency", "source"), [
        [series, year, float(value), unit, currency, source if year < 2025 else "invented"]
        for series, unit, currency, source, values in rows(INPUT_PRICES) for year, value in zip(INPUT_YEARS, values.split(), strict=True)
    ])  # fmt: skip
    write_csv(out / "standards.csv", ("part_no", "standard_cost", "currency", "set_on", "on_hand_qty", "annual_qty", "last_purchase_price", "last_purchase_date"),
              standard_rows(world, bill, inside))  # fmt: skip


if __name__ == "__main__":
    arguments = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    arguments.add_argument("--seed", type=int, default=SEED)
    arguments.add_argument("--out", type=Path, default=Path(__file__).resolve().parent / "floor_scrubber")
    given = arguments.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    build(given.out, seed=given.seed)
