"""Every wire of the bench timer, as plain whole numbers.

The one source for the firmware's Pico board module, the schematic, the wiring table and the parts list: a test
compares all four with this file. Numbers are GPIO numbers (GPn) unless a name says otherwise. No imports and
no expressions beyond literals, so that both MicroPython and a desktop `ast` reader can use the file as it is.
"""

# Thermometers: NTC from the pin to AGND (pin 33), fixed resistor from ADC_VREF (pin 35) to the pin, so that the
# reading is a ratio and the reference voltage cancels. Open these only through ADC(Pin(n)): ADC(channel) leaves
# the pad's pull and input buffer as they were, which sinks tens of microamperes.
PIN_BENCH_NTC = 26  # ADC0, the plate that lies on the bench
PIN_PROBE_NTC = 27  # ADC1, the needle in the dough

# One I2C bus at its specified 400 kHz for the display and the two optional parts.
I2C_ID = 0
I2C_FREQ_HZ = 400000
PIN_I2C_SDA = 4
PIN_I2C_SCL = 5
PIN_OLED_RESET = 6  # low resets; 2.42 inch modules do not start without it

# The piezo disc hangs between two outputs of one PWM slice (slice 4, A and B). The same counter runs both and B is
# inverted, so the disc sees twice the supply swing.
PIN_BUZZER_A = 8
PIN_BUZZER_B = 9

# RGB light, common cathode, high = lit; on other PWM slices than the buzzer, so that a tone does not shift the light.
PIN_LED_R = 10
PIN_LED_G = 11
PIN_LED_B = 12

# Buttons to GND with the internal pull-up, pressed = low. Never pull-down: RP2350 erratum E9 holds such a pad at 2.2 V.
PIN_BUTTON_LEFT = 18
PIN_BUTTON_MIDDLE = 19  # held while power comes on: safe mode, the prompt stays reachable
PIN_BUTTON_RIGHT = 20

# On the Pico board itself, not wired: regulator mode (0 = PFM, 1 = PWM). Belongs to the radio on W boards.
PIN_SMPS_MODE = 23

# 7-bit I2C addresses.
ADDR_OLED = 60  # 0x3C, SSD1309
ADDR_AIR = 68  # 0x44, SHT4x, optional
ADDR_CLOCK = 104  # 0x68, DS3231, optional

# 18 kohm keeps the ADC's known steps (codes 512, 1536, 2560, 3584) at -32.4, -2.2, 23.0 and 65.2 degrees C on the
# 103AT curve: none lies where dough is worked. 10 kohm would put one at 11.8 degrees C. For the 3977 K type, 20 kohm.
R_FIXED_BENCH_OHM = 18000
R_FIXED_PROBE_OHM = 18000

# Curve per probe: "103at" (B25/85 3435 K) or "3977" (B25/85 3977 K). They differ by 3 K at 0 degrees C: a setting.
CURVE_BENCH = "103at"
CURVE_PROBE = "103at"
