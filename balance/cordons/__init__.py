"""Cordons that need replacing: seen to fail, a shoot chosen, laid down, filled, judged; followed across the years."""
