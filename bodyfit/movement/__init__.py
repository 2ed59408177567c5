"""What happened in a motion: strides, activities, repetitions."""
