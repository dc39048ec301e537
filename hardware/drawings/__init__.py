"""Where the stages' parts stand on paper.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""
